//! What a person may have typed wrong, and what the door says.
#![allow(clippy::unwrap_used)]

use super::*;
use crate::ledger::body::{
    Discard, Eyes, Loss, LostUnits, MadeLot, Opening, Reading, Sensor, ToolsBetweenClumps, Void,
    Weigh,
};
use crate::ledger::example::{Farm, day, look, n};
use crate::ledger::generate::plausible;
use crate::ledger::{Body, fold, fold_until};
use crate::words::{DiscardReason, EntryId, Protection, SessionId, VarietyName};

const TODAY: &str = "2026-01-10";

fn ask(farm: &Farm, on: &str, body: impl Into<Body>) -> Result<(), Refusal> {
    let id = EntryId::new(uuid::Uuid::nil());
    let draft = Draft { id, on: day(on), body: body.into() };
    check_draft(&fold_until(&farm.scribe.written, draft.on), &draft, day(TODAY))
}

fn divisions(count: u16) -> (Farm, LotId) {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-01", UnitKind::Division, count);
    (farm, lot)
}

fn send(lot: LotId, count: u16, purpose: Purpose) -> Send {
    Send { lot, count: n(count), purpose, to: "Rosa".to_owned(), to_farm: None, hand_over: None }
}

#[test]
fn a_look_over_all_of_it_must_count_what_the_book_says() {
    let (farm, lot) = divisions(40);
    let refusal = ask(&farm, TODAY, look(lot, Scope::Whole, 38, &[])).unwrap_err();
    assert_eq!(refusal, Refusal::CountDiffers { lot, counted: n(38), book: n(40) });
    assert!(refusal.hint().contains("cause"));
    assert_eq!(ask(&farm, TODAY, look(lot, Scope::Whole, 40, &[(LossCause::Mislaid, 2)])), Ok(()));
    assert_eq!(ask(&farm, TODAY, look(lot, Scope::Sample, 38, &[])), Ok(()));
}

#[test]
fn a_look_noted_late_is_held_against_what_was_there_then() {
    let (mut farm, lot) = divisions(40);
    farm.send("2025-12-20", lot, 10);
    assert_eq!(ask(&farm, "2025-12-01", look(lot, Scope::Whole, 40, &[])), Ok(()));
    assert!(ask(&farm, "2025-12-21", look(lot, Scope::Whole, 40, &[])).is_err());
}

#[test]
fn nobody_sends_more_than_there_is() {
    let (farm, lot) = divisions(5);
    assert_eq!(
        ask(&farm, TODAY, send(lot, 6, Purpose::Swap)),
        Err(Refusal::MoreThanThere { lot, asked: n(6), had: n(5) })
    );
    assert_eq!(ask(&farm, TODAY, send(lot, 5, Purpose::Swap)), Ok(()));
    assert!(matches!(
        ask(&farm, TODAY, send(lot, 0, Purpose::Swap)),
        Err(Refusal::NothingCounted { .. })
    ));
}

#[test]
fn nothing_happens_before_the_lot_began_or_after_tomorrow() {
    let (farm, lot) = divisions(5);
    let loss = || Loss { lot, count: n(1), cause: LossCause::Rot };
    // On an earlier day the lot is not in that day's book at all.
    assert_eq!(ask(&farm, "2025-10-31", loss()), Err(Refusal::UnknownLot { lot }));
    let draft =
        Draft { id: EntryId::new(uuid::Uuid::nil()), on: day("2025-10-31"), body: loss().into() };
    let refusal = check_draft(&farm.book(), &draft, day(TODAY)).unwrap_err();
    assert!(matches!(refusal, Refusal::BeforeItBegan { .. }));
    assert_eq!(ask(&farm, "2026-01-11", loss()), Ok(()));
    assert!(matches!(ask(&farm, "2026-01-12", loss()), Err(Refusal::InTheFuture { .. })));
}

#[test]
fn every_unit_of_a_split_is_in_one_of_its_parts() {
    let (mut farm, from) = divisions(20);
    let lot = farm.lot();
    let made = |count| MadeLot {
        lot,
        unit: UnitKind::Division,
        count: n(count),
        eyes: Eyes::NotNoted,
        label: None,
    };
    let split = |taken, count, discarded| Divide {
        from,
        taken: n(taken),
        made: vec![made(count)],
        discards: vec![Discard { reason: DiscardReason::Rot, count: n(discarded) }],
        pieces: None,
        session: None,
    };
    assert_eq!(ask(&farm, TODAY, split(10, 8, 2)), Ok(()));
    assert_eq!(
        ask(&farm, TODAY, split(10, 8, 1)),
        Err(Refusal::SumsDiffer { stated: n(10), sum: n(9) })
    );
    let mut twice = split(16, 8, 0);
    twice.made = vec![made(8), made(8)];
    assert_eq!(ask(&farm, TODAY, twice), Err(Refusal::LotTaken { lot }));
}

#[test]
fn pieces_of_clumps_must_agree_only_where_they_were_counted() {
    let mut farm = Farm::new(1);
    let (from, lot) = (farm.opening("2025-11-01", UnitKind::Clump, 4), farm.lot());
    let divide = |pieces| Divide {
        from,
        taken: n(4),
        made: vec![MadeLot {
            lot,
            unit: UnitKind::Division,
            count: n(17),
            eyes: Eyes::Eyed,
            label: None,
        }],
        discards: vec![Discard { reason: DiscardReason::NoEye, count: n(3) }],
        pieces,
        session: None,
    };
    assert_eq!(ask(&farm, TODAY, divide(None)), Ok(()));
    assert_eq!(ask(&farm, TODAY, divide(Some(n(20)))), Ok(()));
    assert!(ask(&farm, TODAY, divide(Some(n(21)))).is_err());
}

#[test]
fn a_recount_that_finds_fewer_asks_for_a_cause() {
    let (farm, lot) = divisions(20);
    let recount = |counted, missing| Recount { lot, counted: n(counted), missing };
    assert!(matches!(ask(&farm, TODAY, recount(18, None)), Err(Refusal::CountDiffers { .. })));
    assert_eq!(ask(&farm, TODAY, recount(18, Some(LossCause::Gnawed))), Ok(()));
    assert_eq!(ask(&farm, TODAY, recount(23, None)), Ok(()));
}

#[test]
fn sleeping_stock_is_not_given_up_on_as_blind() {
    let (mut farm, lot) = divisions(20);
    let blind = || Loss { lot, count: n(1), cause: LossCause::Blind };
    assert_eq!(ask(&farm, TODAY, blind()), Err(Refusal::NotWokenYet { lot }));
    farm.note("2026-01-05", crate::ledger::body::WakeUp { lot });
    assert_eq!(ask(&farm, TODAY, blind()), Ok(()));
}

#[test]
fn a_stopped_lot_stays_on_the_farm() {
    let (mut farm, lot) = divisions(20);
    farm.lose("2025-12-01", lot, 1, LossCause::Culled);
    let since = day("2025-12-01");
    assert_eq!(
        ask(&farm, TODAY, send(lot, 1, Purpose::Gift)),
        Err(Refusal::Stopped { lot, since })
    );
    let book = farm.book();
    assert!(check_passing_on(&book, lot, Purpose::Swap, day(TODAY)).is_err());
}

#[test]
fn a_protected_variety_without_a_permission_is_not_passed_on() {
    let (mut farm, lot) = divisions(20);
    let note = |permission: Option<&str>| VarietyNote {
        protection: Some(Protection::Protected {
            holder: Some("an invented breeder".to_owned()),
            region: None,
            until: None,
            permission: permission.map(str::to_owned),
        }),
        ..VarietyNote::about(farm.variety)
    };
    let (without, with) = (note(None), note(Some("2026-17")));
    farm.note("2025-11-02", without);
    for purpose in [Purpose::Swap, Purpose::Sale, Purpose::Gift] {
        assert!(matches!(ask(&farm, TODAY, send(lot, 1, purpose)), Err(Refusal::Protected { .. })));
    }
    assert_eq!(ask(&farm, TODAY, send(lot, 1, Purpose::Return)), Ok(()));
    farm.note("2025-11-03", with);
    assert_eq!(ask(&farm, TODAY, send(lot, 1, Purpose::Sale)), Ok(()));
}

#[test]
fn numbers_that_are_no_numbers_and_levels_that_are_no_levels_are_refused() {
    let (farm, lot) = divisions(20);
    let plan = |level| Plan {
        variety: farm.variety,
        unit: UnitKind::Division,
        plants_wanted: n(20),
        planting: day("2026-05-10"),
        keep_back: None,
        service_level: Some(level),
    };
    assert_eq!(ask(&farm, TODAY, plan(0.9)), Ok(()));
    for level in [0.0, 1.0, -1.0, 90.0, f64::NAN, f64::INFINITY] {
        assert!(matches!(ask(&farm, TODAY, plan(level)), Err(Refusal::OutOfRange { .. })));
    }
    let reading = Reading { millis: 0, temperature_c: f64::NAN, relative_humidity: None };
    let climate = Climate {
        place: "cellar".parse().unwrap(),
        sensor: Sensor::Room,
        readings: vec![reading],
        utc_offset_minutes: None,
    };
    assert!(matches!(ask(&farm, TODAY, climate), Err(Refusal::OutOfRange { .. })));
    for grams in [0.0, -1.0, f64::NAN, 2e6] {
        let weighed = Weigh { lot, sample: None, grams };
        assert!(matches!(ask(&farm, TODAY, weighed), Err(Refusal::OutOfRange { .. })));
    }
    assert_eq!(ask(&farm, TODAY, Weigh { lot, sample: None, grams: 812.5 }), Ok(()));
    let dip = Solution {
        agent: "bleach".to_owned(),
        strength_percent: Some(120.0),
        minutes: None,
        made_up: None,
        label_percent: None,
    };
    let session = BenchSession {
        session: SessionId::new(uuid::Uuid::nil()),
        lots: Vec::new(),
        tools: ToolsBetweenClumps::NotNoted,
        tool_dip: Some(dip.clone()),
        soak: None,
        tool_sets: None,
        until: None,
    };
    let with = |dip: Solution| BenchSession { tool_dip: Some(dip), ..session.clone() };
    let strong = Solution { label_percent: Some(-1.0), strength_percent: None, ..dip.clone() };
    let late =
        Solution { made_up: Some("25:00".to_owned()), strength_percent: None, ..dip.clone() };
    assert!(matches!(ask(&farm, TODAY, with(strong)), Err(Refusal::OutOfRange { .. })));
    assert!(matches!(ask(&farm, TODAY, with(late)), Err(Refusal::NoTime { .. })));
    let until = BenchSession { until: Some("noon".to_owned()), ..session.clone() };
    let until = BenchSession { tool_dip: None, ..until };
    assert!(matches!(ask(&farm, TODAY, until), Err(Refusal::NoTime { .. })));
    assert!(matches!(ask(&farm, TODAY, session), Err(Refusal::OutOfRange { .. })));
}

#[test]
fn a_variety_is_named_once() {
    let (mut farm, _) = divisions(20);
    let other = VarietyId::new(farm.dice.id());
    let name: VarietyName = "ember  lantern".parse().unwrap();
    let refusal = ask(&farm, TODAY, VarietyNote::naming(other, name.clone())).unwrap_err();
    assert_eq!(refusal.to_string(), "'Ember Lantern' is in the book already");
    assert_eq!(ask(&farm, TODAY, VarietyNote::naming(farm.variety, name)), Ok(()));
    let lot = farm.lot();
    let opening = Opening {
        lot,
        variety: other,
        unit: UnitKind::Division,
        count: n(3),
        origin: None,
        label: None,
    };
    assert_eq!(ask(&farm, TODAY, opening), Err(Refusal::UnknownVariety { variety: other }));
}

#[test]
fn a_look_whose_parts_do_not_add_up_is_refused() {
    let (farm, lot) = divisions(20);
    let mut check = look(lot, Scope::Sample, 10, &[]);
    check.lost = vec![LostUnits { cause: LossCause::Rot, count: n(1) }];
    assert_eq!(ask(&farm, TODAY, check), Err(Refusal::SumsDiffer { stated: n(10), sum: n(11) }));
}

#[test]
fn an_entry_is_struck_out_once() {
    let (mut farm, lot) = divisions(20);
    let entry = farm.lose("2025-12-01", lot, 1, LossCause::Rot);
    let void = || Void { entry, why: None };
    assert_eq!(ask(&farm, TODAY, void()), Ok(()));
    farm.note("2025-12-02", void());
    assert_eq!(ask(&farm, TODAY, void()), Err(Refusal::StruckOutAlready { entry }));
}

#[test]
fn what_the_door_lets_in_never_disagrees_with_the_book() {
    let mut let_in = 0;
    for seed in 0..40 {
        let mut kept = Vec::new();
        for entry in plausible(seed, 80) {
            // The days of a winter written in order: today's book is that day's book.
            if kept.last().is_some_and(|last: &crate::ledger::Entry| last.on > entry.on) {
                continue;
            }
            let book = fold(&kept);
            let body = entry.read_body().unwrap();
            let draft = Draft { id: entry.id, on: entry.on, body };
            if check_draft(&book, &draft, entry.on).is_ok() {
                kept.push(entry);
                let_in += 1;
            }
        }
        let problems = fold(&kept).problems;
        // Clocks of two devices can still order one day's entries otherwise.
        let devices: std::collections::BTreeSet<_> = kept.iter().map(|e| e.device).collect();
        assert!(devices.len() > 1 || problems.is_empty(), "seed {seed}: {problems:?}");
    }
    assert!(let_in > 1000);
}
