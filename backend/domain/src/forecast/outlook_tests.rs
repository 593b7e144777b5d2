//! The stock sheet of an invented farm.
#![allow(clippy::unwrap_used)]

use super::*;
use crate::ledger::body::{Coming, Plan, Scope, Stop};
use crate::ledger::example::{Farm, day, look, n};
use crate::words::{ComingId, LossCause};

fn sheet(farm: &Farm, promised: &[(LotId, u16)]) -> Vec<KindOutlook> {
    let promised = promised.iter().map(|(lot, count)| (*lot, n(*count))).collect();
    let settings = Settings::default();
    let book = farm.book();
    let beliefs = Beliefs::of(&book, None);
    let asked = Asked {
        today: day("2026-01-10"),
        day_without_plan: day("2026-05-10"),
        settings: &settings,
        promised: &promised,
        beliefs: &beliefs,
    };
    outlook(&book, &asked)
}

fn only(farm: &Farm, promised: &[(LotId, u16)]) -> KindOutlook {
    let mut sheet = sheet(farm, promised);
    assert_eq!(sheet.len(), 1);
    sheet.remove(0)
}

fn plan(farm: &mut Farm, plants: u16) {
    let variety = farm.variety;
    farm.note(
        "2025-11-01",
        Plan {
            variety,
            unit: UnitKind::Division,
            plants_wanted: n(plants),
            planting: day("2026-05-08"),
            keep_back: None,
            service_level: None,
        },
    );
}

fn looked_after() -> (Farm, LotId) {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-01", UnitKind::Division, 60);
    farm.note("2025-12-01", look(lot, Scope::Whole, 60, &[(LossCause::Rot, 1)]));
    farm.note("2026-01-05", look(lot, Scope::Whole, 59, &[]));
    (farm, lot)
}

#[test]
fn without_a_plan_nothing_is_called_spare() {
    let (farm, _) = looked_after();
    let kind = only(&farm, &[]);
    assert_eq!(kind.reckoned.as_ref().unwrap().spare(), None);
    insta::assert_snapshot!(kind.sentence, @"59 in store; 56 expected on 10 May, likely 52 to 59; no plan yet, so nothing is called spare. This is reckoned from 2 looks at this lot and a first-season guess.");
}

#[test]
fn the_sheet_says_what_is_spare_and_why() {
    let (mut farm, _) = looked_after();
    plan(&mut farm, 20);
    let kind = only(&farm, &[]);
    assert!(kind.reckoned.as_ref().unwrap().spare().unwrap() > 20);
    insta::assert_snapshot!(kind.sentence, @"59 in store; 56 expected on 8 May, likely 52 to 59; spare 28, because 20 plants are wanted, 3 are kept back and 9 in 10 springs enough come up. This is reckoned from 2 looks at this lot and a first-season guess.");
    insta::assert_snapshot!(kind.lots[0].sentence, @"59 in store; 56 expected on 8 May, likely 52 to 59, from 2 looks at this lot and a first-season guess.");
}

#[test]
fn promised_stock_comes_out_before_anything_is_spare() {
    let (mut farm, lot) = looked_after();
    plan(&mut farm, 20);
    let all = only(&farm, &[]).reckoned.unwrap().spare().unwrap();
    let kind = only(&farm, &[(lot, 10)]);
    let left = kind.reckoned.as_ref().unwrap();
    assert_eq!(left.stock.in_store, n(49));
    assert_eq!(left.spare(), Some(all - 10));
    assert!(kind.sentence.ends_with("10 are promised to others and not counted here."));
}

#[test]
fn a_stopped_lot_is_never_spare() {
    let (mut farm, lot) = looked_after();
    plan(&mut farm, 20);
    farm.note("2026-01-06", Stop { lot, session: None, signs: "a lump".to_owned() });
    let kind = only(&farm, &[]);
    let reckoned = kind.reckoned.unwrap();
    assert_eq!((reckoned.stock.in_store, reckoned.spare()), (n(0), Some(0)));
    assert!(reckoned.short().unwrap() >= 20);
    assert_eq!(kind.stopped, n(59));
    assert!(kind.sentence.starts_with("None free of 59 in store; short "), "{}", kind.sentence);
}

#[test]
fn what_is_coming_is_shown_apart() {
    let (mut farm, _) = looked_after();
    plan(&mut farm, 80);
    let short = only(&farm, &[]).reckoned.unwrap().short().unwrap();
    let (coming, variety) = (ComingId::new(farm.dice.id()), farm.variety);
    farm.note(
        "2025-12-01",
        Coming {
            coming,
            variety,
            unit: UnitKind::Division,
            count: n(25),
            from: "a friend".to_owned(),
            expected: None,
        },
    );
    let kind = only(&farm, &[]);
    assert_eq!(kind.reckoned.unwrap().short(), Some(short));
    assert!(kind.sentence.ends_with("25 are coming and not counted here."));
}

#[test]
fn clumps_are_never_added_to_divisions() {
    let (mut farm, _) = looked_after();
    farm.opening("2025-11-01", UnitKind::Clump, 9);
    let kinds: Vec<_> = sheet(&farm, &[]).iter().map(|kind| (kind.unit, kind.in_store)).collect();
    assert_eq!(kinds, [(UnitKind::Clump, n(9)), (UnitKind::Division, n(59))]);
}

#[test]
fn a_box_split_off_keeps_what_its_lot_taught() {
    let (mut farm, lot) = looked_after();
    let boxes = farm.split("2026-01-06", lot, 20, &[20]);
    let book = farm.book();
    let beliefs = Beliefs::of(&book, None);
    assert_eq!(beliefs.lot(boxes[0]).hazard, beliefs.lot(lot).hazard);
    assert_eq!(beliefs.lot(boxes[0]).grounds.looks, beliefs.lot(lot).grounds.looks);
}

#[test]
fn many_lots_are_not_taken_as_strangers() {
    let mut farm = Farm::new(1);
    for _ in 0..8 {
        farm.opening("2025-11-01", UnitKind::Division, 20);
    }
    let together = only(&farm, &[]).reckoned.unwrap().stock;
    let book = farm.book();
    let beliefs = Beliefs::of(&book, None);
    let lots: Vec<LotInStore> = book
        .lots
        .values()
        .map(|lot| LotInStore {
            groups: groups(&lot.last_seen, lot.unit, day("2026-05-10")),
            hazard: beliefs.lot(lot.id).hazard,
        })
        .collect();
    let strangers = survivors_of_all(&lots, 0.0).unwrap();
    assert!((together.expected - strangers.mean).abs() < 1e-6, "each lot is as before");
    assert!(together.high - together.low > strangers.p90 - strangers.p10);
}

#[test]
fn a_look_is_due_once_the_interval_has_passed() {
    let (farm, lot) = looked_after();
    let book = farm.book();
    let settings = Settings::default();
    let due = |on: &str| look_due(&book.lots[&lot], day(on), &settings);
    assert_eq!(due("2026-01-19"), LookDue::NotYet);
    assert_eq!(due("2026-01-20"), LookDue::Due { days: 15 });
}

#[test]
fn plants_that_grow_are_not_reckoned_to_rot() {
    let mut farm = Farm::new(1);
    farm.opening("2025-11-01", UnitKind::RootedCutting, 12);
    let stock = only(&farm, &[]).reckoned.unwrap().stock;
    assert_eq!((stock.low, stock.high), (12, 12));
}
