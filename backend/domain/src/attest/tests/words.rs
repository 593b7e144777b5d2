//! What people read, and what no statement may say.

use super::*;
use crate::ledger::body::{Scope, ToolsBetweenClumps};
use crate::ledger::example::{Farm, look};
use crate::words::{HandOverId, LossCause, UnitKind};

fn every_kind() -> Vec<Says> {
    let bleach =
        Applied { agent: "bleach".to_owned(), strength_percent: Some(0.5), minutes: Some(2.0) };
    let signs = Says::LookedOver(LookedOver {
        on: day("2027-01-11"),
        look: Look::ThroughWrap,
        looked: 40_u16.into(),
        of: 40_u16.into(),
        with_signs: 2_u16.into(),
        signs: "galls at the crown".to_owned(),
    });
    let all_looked = Says::LookedOver(LookedOver {
        on: day("2027-01-11"),
        look: Look::Unpacked,
        looked: 40_u16.into(),
        of: 40_u16.into(),
        with_signs: 0_u16.into(),
        signs: String::new(),
    });
    vec![
        Says::BenchHygiene(BenchHygiene {
            on: day("2026-11-02"),
            tools: ToolsBetweenClumps::Disinfected,
            tool_dip: Some(bleach.clone()),
        }),
        Says::BenchHygiene(BenchHygiene {
            on: day("2026-11-02"),
            tools: ToolsBetweenClumps::NotDisinfected,
            tool_dip: None,
        }),
        Says::Soak(Soak { on: day("2026-11-02"), soak: Applied { minutes: None, ..bleach } }),
        looked_over(),
        all_looked,
        signs,
        tested_for("dahlia mosaic virus", 0),
        tested_for("dahlia mosaic virus", 3),
        Says::Origin(Origin { whence: Whence::OwnGrown { since: 2023 } }),
        Says::Origin(Origin {
            whence: Whence::HandOver {
                hand_over: HandOverId::new(uuid_v7(5, [5; 10])),
                farm: farm(2),
            },
        }),
        Says::MovementPapers(MovementPapers {
            authority: "Invented Plant Health Office".to_owned(),
            number: "PH-27-9".to_owned(),
            valid_where: "Westmark".to_owned(),
            valid_until: day("2027-06-30"),
        }),
        Says::Revocation(Revocation {
            statement: statement_id(1),
            why: "the wrong tote was looked at".to_owned(),
        }),
    ]
}

fn all_words() -> String {
    let mut text: String = every_kind()
        .into_iter()
        .map(|says| stated(&stating(1, hour(274), says), "Heron Hill") + "\n")
        .collect();
    for tested in [Tested::NoTest, Tested::NoneFound, Tested::Found] {
        text.push_str(tested.sentence());
        text.push('\n');
    }
    text + CAUTION + "\n"
}

#[test]
fn statements_say_who_states_what_when_and_on_what_basis() {
    insta::assert_snapshot!(all_words());
}

#[test]
fn no_words_of_ours_give_a_verdict() {
    let words = all_words().to_lowercase();
    for verdict in
        ["certified", "disease-free", "virus-free", "healthy", "safe", "legal to", "passport"]
    {
        assert!(!words.contains(verdict), "{verdict}");
    }
}

#[test]
fn every_statement_can_be_signed_and_read_back() {
    for says in every_kind() {
        let said = stating(1, hour(1), says);
        let text = kept(said.clone(), &key(1));
        assert_eq!(verify(&text, &shown(), &[known(1, farm(1))], &[]), Ok(said));
    }
}

#[test]
fn no_test_and_none_found_are_never_one_and_the_same() {
    let none = stating(1, hour(1), tested_for("dahlia mosaic virus", 0));
    let some = stating(2, hour(1), tested_for("crown gall", 2));
    let look = stating(3, hour(1), looked_over());
    assert_eq!(tested([&look]), Tested::NoTest);
    assert_eq!(tested([&look, &none]), Tested::NoneFound);
    assert_eq!(tested([&some, &none]), Tested::Found);
    assert_eq!(tested([&none, &some]), Tested::Found);
}

/// ISPM 31 by hypergeometric chance: 20 of 40 find one of 5 with 1 − C(35,20)/C(40,20) = 97.6 %,
/// one of 4 with 94.7 % (computed by hand with binomial coefficients).
#[test]
fn a_look_says_what_it_would_have_found() {
    let text = stated(&stating(1, hour(1), looked_over()), "Heron Hill");
    assert!(text.contains("Had 5 or more of the 40 shown signs"), "{text}");
    assert!(text.contains("Looking can't show a disease that gives no signs."), "{text}");
}

#[test]
fn a_statement_can_neither_contradict_itself_nor_give_a_verdict() {
    let Says::LaboratoryTest(test) = tested_for("gall", 0) else { unreachable!() };
    let Says::LookedOver(look) = looked_over() else { unreachable!() };
    let test_with = |change: &dyn Fn(&mut LaboratoryTest)| {
        let mut test = test.clone();
        change(&mut test);
        Says::LaboratoryTest(test).check().unwrap_err().to_string()
    };
    let look_with = |change: &dyn Fn(&mut LookedOver)| {
        let mut look = look.clone();
        change(&mut look);
        Says::LookedOver(look).check().unwrap_err().to_string()
    };
    insta::assert_snapshot!(
        [
            test_with(&|test| test.positive = 13_u16.into()),
            test_with(&|test| test.tested = 0_u16.into()),
            test_with(&|test| test.target = "all: certified disease-free".to_owned()),
            test_with(&|test| test.method = String::new()),
            test_with(&|test| test.reference = "a\nb".to_owned()),
            look_with(&|look| look.looked = 41_u16.into()),
            look_with(&|look| look.with_signs = 1_u16.into()),
            look_with(&|look| look.signs = "Virus free".to_owned()),
        ]
        .join("\n")
    );
}

#[test]
fn a_want_misses_the_kinds_that_nobody_states_and_papers_that_ran_out() {
    let papers = Says::MovementPapers(MovementPapers {
        authority: "Invented Plant Health Office".to_owned(),
        number: "PH-27-9".to_owned(),
        valid_where: "Westmark".to_owned(),
        valid_until: day("2027-06-30"),
    });
    let stated = [stating(1, hour(1), looked_over()), stating(2, hour(1), papers)];
    let required = [FactKind::LookedOver, FactKind::LaboratoryTest, FactKind::MovementPapers];
    let on = |text| missing(&required, &stated, day(text)).into_iter().collect::<Vec<_>>();
    assert_eq!(on("2027-06-30"), [FactKind::LaboratoryTest]);
    assert_eq!(on("2027-07-01"), [FactKind::LaboratoryTest, FactKind::MovementPapers]);
}

#[test]
fn what_the_book_has_is_not_typed_again() {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2026-11-01", UnitKind::Division, 40);
    farm.note("2027-01-10", look(lot, Scope::Sample, 20, &[(LossCause::Culled, 1)]));
    let book = farm.book();
    let look = look_of(&book.lots[&lot]).unwrap();
    assert_eq!(
        (look.looked, look.of, look.with_signs),
        (20_u16.into(), 40_u16.into(), 1_u16.into())
    );
    assert_eq!(look.signs, "culled for disease");
    assert_eq!(hygiene_of(&book, lot), None);
    let since = origin_of(&book, lot).unwrap().whence;
    assert_eq!(since, Whence::OwnGrown { since: 2026 });
}
