//! Genuine texts, shown for what they don't say or after they ceased to hold.

use super::*;

fn ask(kept: &Kept, keys: &[KeyRecord], others: &[Kept]) -> Result<Statement, VerifyError> {
    verify(kept, &shown(), keys, others)
}

#[test]
fn a_statement_holds_for_its_own_farm_and_lot() {
    let said = stating(1, hour(1), looked_over());
    let text = kept(said.clone(), &key(1));
    assert_eq!(ask(&text, &[known(1, farm(1))], &[]), Ok(said));
}

#[test]
fn one_of_another_farm_is_refused() {
    let text = kept(stating(1, hour(1), looked_over()), &key(1));
    let shown = Shown { farm: Some(farm(2)), ..shown() };
    let refused = verify(&text, &shown, &[known(1, farm(1))], &[]);
    assert_eq!(refused, Err(VerifyError::WrongFarm { stated_by: farm(1) }));
}

#[test]
fn one_about_another_lot_is_refused_and_so_is_one_shown_again() {
    let text = kept(stating(1, hour(1), looked_over()), &key(1));
    let shown = Shown { lot: Some(lot(2)), ..shown() };
    let keys = [known(1, farm(1))];
    let refused = verify(&text, &shown, &keys, &[]);
    assert_eq!(refused, Err(VerifyError::WrongLot { about: lot(1) }));
    let refused = verify(&text, &shown, &keys, std::slice::from_ref(&text));
    assert_eq!(refused, Err(VerifyError::ShownAgain { about: lot(1) }));
}

#[test]
fn another_statement_under_a_known_id_is_refused() {
    let first = kept(stating(1, hour(1), looked_over()), &key(1));
    let second = kept(stating(1, hour(2), tested_for("dahlia mosaic virus", 0)), &key(1));
    let refused = ask(&second, &[known(1, farm(1))], &[first]);
    assert_eq!(refused, Err(VerifyError::IdTaken));
}

#[test]
fn a_key_that_nobody_knows_and_one_of_another_farm_are_refused() {
    let text = kept(stating(1, hour(1), looked_over()), &key(1));
    let id = key(1).public().id();
    assert_eq!(ask(&text, &[known(2, farm(1))], &[]), Err(VerifyError::UnknownKey(id.clone())));
    let refused = ask(&text, &[known(1, farm(2))], &[]);
    assert_eq!(refused, Err(VerifyError::KeyOfAnotherFarm(id)));
}

#[test]
fn a_statement_that_names_another_key_than_the_one_that_signed_it_is_refused() {
    let said = stating(1, hour(1), looked_over());
    let payload = Statement { key: key(2).public().id(), ..said }.canonical().unwrap();
    let text = Kept {
        compact: super::super::jws::sign(StatedType::Statement, &payload, &key(1)),
        taken_at: None,
    };
    let refused = ask(&text, &[known(1, farm(1)), known(2, farm(1))], &[]);
    let (signed_by, named) = (key(1).public().id(), key(2).public().id());
    assert_eq!(refused, Err(VerifyError::WrongKey { signed_by, named }));
}

#[test]
fn a_key_that_a_farm_only_claims_is_refused() {
    let claimed = KeyRecord { farm: farm(2), ..known(1, farm(1)) };
    assert_eq!(claimed.check(&[]), Err(KeyError::OfAnother));
    let said = Statement { farm: farm(2), ..stating(1, hour(1), looked_over()) };
    let shown = Shown { farm: Some(farm(2)), ..shown() };
    let refused = verify(&kept(said, &key(1)), &shown, &[claimed], &[]);
    assert_eq!(refused, Err(VerifyError::KeyNotIntroduced(key(1).public().id())));
}

#[test]
fn a_withdrawn_key_still_proves_what_it_signed_before() {
    let mut withdrawn = known(1, farm(1));
    withdrawn.withdrawn_at = Some(hour(10));
    let before = kept(stating(1, hour(9), looked_over()), &key(1));
    assert!(ask(&before, &[withdrawn.clone()], &[]).is_ok());
    let after = kept(stating(2, hour(10), looked_over()), &key(1));
    assert_eq!(ask(&after, &[withdrawn.clone()], &[]), Err(VerifyError::KeyWithdrawn(hour(10))));
    // Dated back by a thief: the server has the moment at which it came in.
    let dated_back = Kept { taken_at: Some(hour(11)), ..before };
    let refused = ask(&dated_back, &[withdrawn.clone()], &[]);
    assert_eq!(refused, Err(VerifyError::KeyWithdrawn(hour(10))));
    // By a farm's clock that runs fast: the server had it before.
    let fast = kept(stating(3, hour(12), looked_over()), &key(1));
    let fast = Kept { taken_at: Some(hour(9)), ..fast };
    assert!(ask(&fast, &[withdrawn], &[]).is_ok());
}

#[test]
fn a_later_statement_takes_its_place_and_a_revocation_takes_it_back() {
    let keys = [known(1, farm(1)), known(2, farm(1))];
    let first = kept(stating(1, hour(1), looked_over()), &key(1));
    let later = Statement {
        supersedes: Some(statement_id(1)),
        ..stating(2, hour(2), tested_for("dahlia mosaic virus", 1))
    };
    let later = kept(later, &key(1));
    let by = statement_id(2);
    let others = std::slice::from_ref(&later);
    assert_eq!(ask(&first, &keys, others), Err(VerifyError::Superseded { by }));
    assert!(ask(&later, &keys, std::slice::from_ref(&first)).is_ok());

    let back = Says::Revocation(Revocation {
        statement: statement_id(1),
        why: "the wrong tote was looked at".to_owned(),
    });
    let back = kept(stating(3, hour(3), back), &key(2));
    let refused = ask(&first, &keys, std::slice::from_ref(&back));
    let why = "the wrong tote was looked at".to_owned();
    assert_eq!(refused, Err(VerifyError::Revoked { by: statement_id(3), why }));
}

#[test]
fn nobody_else_can_take_a_statement_back() {
    let keys = [known(1, farm(1)), known(2, farm(2))];
    let first = kept(stating(1, hour(1), looked_over()), &key(1));
    let says = Says::Revocation(Revocation { statement: statement_id(1), why: "envy".to_owned() });
    let theirs = Statement { farm: farm(2), ..stating(2, hour(2), says.clone()) };
    let theirs = kept(theirs, &key(2));
    assert!(ask(&first, &keys, std::slice::from_ref(&theirs)).is_ok());
    // Nor can the farm itself by a statement about another lot.
    let other_lot = kept(Statement { lot: lot(2), ..stating(3, hour(2), says) }, &key(1));
    assert!(ask(&first, &keys, &[other_lot]).is_ok());
}

#[test]
fn one_of_tomorrow_is_taken_and_one_of_next_week_is_not() {
    let keys = [known(1, farm(1))];
    let soon = kept(stating(1, hour(1_020), looked_over()), &key(1));
    assert!(ask(&soon, &keys, &[]).is_ok());
    let later = kept(stating(1, hour(1_100), looked_over()), &key(1));
    assert_eq!(ask(&later, &keys, &[]), Err(VerifyError::NotYet(hour(1_100))));
}

#[test]
fn a_signed_text_that_is_no_statement_in_its_one_form_is_refused() {
    use super::super::jws::sign as sign_bytes;
    let keys = [known(1, farm(1))];
    let said = stating(1, hour(1), looked_over());
    let asked = |what, payload: &[u8]| {
        let text = Kept { compact: sign_bytes(what, payload, &key(1)), taken_at: None };
        ask(&text, &keys, &[])
    };
    let canonical = said.canonical().unwrap();
    assert_eq!(asked(StatedType::Key, &canonical), Err(VerifyError::NotAStatement));
    let spaced = serde_json::to_vec_pretty(&said).unwrap();
    assert!(matches!(asked(StatedType::Statement, &spaced), Err(VerifyError::NotCanonical(_))));
    let mut more = serde_json::to_value(&said).unwrap();
    more["verdict"] = "healthy".into();
    let more = serde_json_canonicalizer::to_vec(&more).unwrap();
    assert!(matches!(asked(StatedType::Statement, &more), Err(VerifyError::NotCanonical(_))));
    let newer = Statement { v: 2, ..said }.canonical().unwrap();
    assert_eq!(asked(StatedType::Statement, &newer), Err(VerifyError::Newer(2)));
}

#[test]
fn a_list_is_judged_as_each_of_it_would_be() {
    let keys = [known(1, farm(1))];
    let back = Says::Revocation(Revocation { statement: statement_id(2), why: "slip".to_owned() });
    let later =
        Statement { supersedes: Some(statement_id(1)), ..stating(2, hour(2), looked_over()) };
    let list = vec![
        kept(stating(1, hour(1), looked_over()), &key(1)),
        kept(later, &key(1)),
        kept(stating(3, hour(3), back), &key(1)),
        kept(stating(4, hour(4), tested_for("gall", 0)), &key(2)),
        kept(stating(5, hour(5), tested_for("gall", 0)), &key(1)),
    ];
    let all: Vec<_> =
        verify_all(&list, &shown(), &keys).into_iter().map(|checked| checked.outcome).collect();
    let each: Vec<_> = list.iter().map(|kept| ask(kept, &keys, &list)).collect();
    assert_eq!(all, each);
    assert_eq!(all.iter().filter(|outcome| outcome.is_ok()).count(), 2);
}

#[test]
fn an_earlier_key_vouches_for_the_next_and_nobody_elses_does() {
    let first = known(1, farm(1));
    let next = key(2).public();
    let mut second = known(2, farm(1));
    second.vouched = Some(key(1).introduce(&next, farm(1), hour(0)));
    let all = [first.clone(), second.clone()];
    assert_eq!(first.check(&all), Ok(IntroducedBy::Itself));
    assert_eq!(second.check(&all), Ok(IntroducedBy::Earlier(first.id())));
    second.vouched = Some(key(3).introduce(&next, farm(1), hour(0)));
    let all = [first.clone(), known(3, farm(2)), second.clone()];
    assert_eq!(second.check(&all), Err(KeyError::Voucher));
    // A key that was withdrawn before vouches for nothing any more.
    second.vouched = Some(key(1).introduce(&next, farm(1), hour(0)));
    let gone = KeyRecord { withdrawn_at: Some(hour(0)), ..first.clone() };
    assert_eq!(second.check(&[gone]), Err(KeyError::Voucher));
    // By the server's clock, where it heard of both.
    second.known_at = Some(hour(5));
    let later = KeyRecord { withdrawn_at: Some(hour(5)), ..first.clone() };
    assert_eq!(second.check(&[later]), Ok(IntroducedBy::Earlier(first.id())));
    let sooner = KeyRecord { withdrawn_at: Some(hour(4)), ..first };
    assert_eq!(second.check(&[sooner]), Err(KeyError::Voucher));
}
