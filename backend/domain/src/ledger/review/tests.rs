#![allow(clippy::unwrap_used, clippy::expect_used)]

use super::{ChainFault, Sums, chain_faults, due, problems_in_words, sums};
use crate::ledger::body::{Move, Scope};
use crate::ledger::book::Disagreement;
use crate::ledger::example::{Farm, day, look, n};
use crate::ledger::fold;
use crate::ledger::generate::{plausible, wild};
use crate::settings::Settings;
use crate::words::{LossCause, LotId, Season, UnitKind, VarietyId, uuid_v7};

fn every_disagreement() -> Vec<Disagreement> {
    let lot = LotId::new(uuid_v7(0, [1; 10]));
    let variety = VarietyId::new(uuid_v7(0, [2; 10]));
    let season: Season = "2026".parse().unwrap();
    let (on, began, closed) = (day("2026-01-10"), day("2026-01-20"), day("2026-10-01"));
    vec![
        Disagreement::TakenMoreThanThere { lot, taken: n(5), had: n(3) },
        Disagreement::CountDiffers { lot, counted: n(38), book: n(40) },
        Disagreement::NotedTwice { lot, on },
        Disagreement::UnknownLot { lot },
        Disagreement::UnknownVariety { variety },
        Disagreement::BeforeItBegan { lot, on, began },
        Disagreement::MadeTwice { lot },
        Disagreement::SumsDiffer { lot, stated: n(20), sum: n(21) },
        Disagreement::Unreadable { why: "missing field `lot`".to_owned() },
        Disagreement::CarriedDiffers { season, lot, carried: n(40), book: n(38) },
        Disagreement::LateForSeason { season, closed },
        Disagreement::SeasonClosedTwice { season },
        Disagreement::ConfirmedNothing { season },
        Disagreement::VoidOfNothing,
    ]
}

#[test]
fn every_disagreement_says_what_it_is_about_and_what_to_do() {
    let lines: Vec<String> = every_disagreement().iter().map(ToString::to_string).collect();
    assert!(lines.iter().all(|line| line.contains(": ")), "what: what to do");
    insta::assert_snapshot!(lines.join("\n"));
}

#[test]
fn a_problem_names_the_entries_that_disagree() {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-01", UnitKind::Division, 20);
    let loss = farm.lose("2025-11-10", lot, 25, LossCause::Rot);
    let found = problems_in_words(&farm.book(), &farm.scribe.written);
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].entries[0].entry, loss);
    assert_eq!(found[0].entries[0].on, Some(day("2025-11-10")));
    assert!(found[0].entries[0].says.contains("25 lost to rot"));
}

#[test]
fn counting_the_lot_settles_what_disagreed_about_its_count() {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-01", UnitKind::Division, 20);
    farm.note("2025-11-10", look(lot, Scope::Whole, 18, &[]));
    assert_eq!(farm.book().problems.len(), 1);
    let missing = Some(LossCause::Mislaid);
    farm.note("2025-11-11", crate::ledger::body::Recount { lot, counted: n(18), missing });
    assert!(farm.book().problems.is_empty());
}

#[test]
fn a_changed_entry_and_a_gap_are_named() {
    let entries = plausible(5, 60);
    assert_eq!(chain_faults(&entries), []);
    let mut changed = entries.clone();
    changed[10].on = changed[10].on.plus_days(1);
    assert_eq!(chain_faults(&changed), [ChainFault::Changed { entry: entries[10].id }]);
    let mut gap = entries.clone();
    let (device, seq) = (gap[20].device, gap[20].seq);
    gap.remove(20);
    let follows = entries.iter().any(|entry| (entry.device, entry.seq) == (device, seq.next()));
    let expected: Vec<ChainFault> =
        follows.then_some(ChainFault::Broken { device, seq: seq.next() }).into_iter().collect();
    assert_eq!(chain_faults(&gap), expected);
}

#[test]
fn the_sums_of_any_ledger_agree_and_a_changed_count_is_seen() {
    for seed in 0..30 {
        let entries = wild(seed, 80);
        let mut book = fold(&entries);
        assert!(sums(&book).iter().all(|line| line.sums == Sums::Agree));
        let Some(lot) = book.lots.values_mut().next() else { continue };
        lot.in_store = lot.in_store.plus(n(1));
        if lot.in_store.get() < crate::words::Count::MAX {
            assert!(sums(&book).iter().any(|line| line.sums == Sums::Differ));
        }
    }
}

#[test]
fn overdue_lots_come_in_walking_order() {
    let mut farm = Farm::new(1);
    let places = ["cellar / tote 10", "barn", "cellar / tote 9"];
    let mut lots: Vec<LotId> =
        places.iter().map(|_| farm.opening("2025-11-01", UnitKind::Division, 5)).collect();
    for (lot, place) in lots.iter().zip(places) {
        farm.note("2025-11-02", Move { lot: *lot, place: place.parse().unwrap() });
    }
    lots.push(farm.opening("2025-11-01", UnitKind::Division, 5));
    let seen = farm.opening("2025-11-01", UnitKind::Division, 5);
    farm.note("2026-01-05", look(seen, Scope::Whole, 5, &[]));
    let book = farm.book();
    let walked: Vec<LotId> =
        due(&book, day("2026-01-10"), &Settings::default()).iter().map(|due| due.lot.id).collect();
    assert_eq!(walked, [lots[1], lots[2], lots[0], lots[3]], "and not what was looked at lately");
}
