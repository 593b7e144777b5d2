//! The fold told in the trade's sentences, one example each.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use super::{fold, fold_until};
use crate::ledger::body::{
    Coming, Discard, Divide, Eyes, Lift, MadeLot, Receive, Recount, Scope, Send, Stop, Store, Void,
};
use crate::ledger::book::{
    Book, Disagreement, Flow, LossRow, Lot, LotCondition, Origin, SeenUnits,
};
use crate::ledger::example::{Farm, day, look, n};
use crate::ledger::{Entry, Stamp};
use crate::words::{
    ComingId, Count, DiscardReason, EntryId, HandOverId, LossCause, Packing, Purpose, UnitKind,
};

fn whats(book: &Book) -> Vec<Disagreement> {
    book.problems.iter().map(|problem| problem.what.clone()).collect()
}

fn rows(lot: &Lot) -> Vec<(u32, u32, u32)> {
    lot.loss_rows.iter().map(|row| (row.days, row.inspected, row.lost)).collect()
}

fn seen(lot: &Lot) -> Vec<(u32, String)> {
    lot.last_seen.iter().map(|group| (group.count.get(), group.on.to_string())).collect()
}

#[test]
fn clumps_become_divisions_and_every_piece_is_accounted_for() {
    let mut farm = Farm::new(1);
    let (clumps, lot, variety) = (farm.lot(), farm.lot(), farm.variety);
    farm.note(
        "2025-10-20",
        Lift { lot: clumps, variety, clumps: n(10), bed: None, label: None, planted: None },
    );
    let made = vec![MadeLot {
        lot,
        unit: UnitKind::Division,
        count: n(40),
        eyes: Eyes::Eyed,
        label: None,
    }];
    let discards = vec![Discard { reason: DiscardReason::NoEye, count: n(7) }];
    let taken = n(8);
    farm.note(
        "2025-11-02",
        Divide { from: clumps, taken, made, discards, pieces: Some(n(47)), session: None },
    );
    let book = farm.book();
    assert!(book.problems.is_empty(), "{:?}", book.problems);
    assert_eq!(book.lots[&clumps].in_store, n(2));
    assert_eq!(book.lots[&lot].in_store, n(40));
    assert_eq!(book.lots[&lot].origin, Origin::Divided(clumps, None));
    assert_eq!(seen(&book.lots[&lot]), [(40, "2025-11-02".to_owned())]);
    let clump = Flow { came_in: 10, went_out: 8, in_store: 2, ..Flow::default() };
    assert_eq!(farm.flow(UnitKind::Clump), clump);
    let division = Flow { made: 47, lost: 7, in_store: 40, ..Flow::default() };
    assert_eq!(farm.flow(UnitKind::Division), division);
    assert_eq!(book.yields[&variety], (n(8), n(40)));
}

#[test]
fn a_lot_split_over_two_boxes_keeps_its_history() {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-01", UnitKind::Division, 20);
    let place = "cellar / tote 1".parse().unwrap();
    farm.note("2025-11-02", Store { lot, packing: Packing::Vermiculite, place });
    farm.note("2025-12-01", look(lot, Scope::Sample, 10, &[]));
    let boxes = farm.split("2025-12-10", lot, 12, &[6, 6]);
    let book = farm.book();
    assert!(book.problems.is_empty(), "{:?}", book.problems);
    let new = &book.lots[&boxes[0]];
    assert_eq!(seen(new), [(3, "2025-11-01".to_owned()), (3, "2025-12-01".to_owned())]);
    assert_eq!(new.stored, Some(day("2025-11-02")));
    assert_eq!(new.packing, Some(Packing::Vermiculite));
    assert_eq!(new.looks_before_split.len(), 1);
    assert_eq!(new.rows_before_split, [LossRow { days: 30, inspected: 10, lost: 0 }]);
    assert_eq!(book.lots[&lot].in_store, n(8));
    let flow = Flow { came_in: 20, made: 12, went_out: 12, in_store: 20, ..Flow::default() };
    assert_eq!(farm.flow(UnitKind::Division), flow);
}

#[test]
fn a_split_whose_sums_differ_is_taken_in_and_reported() {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-01", UnitKind::Division, 20);
    let boxes = farm.split("2025-12-10", lot, 10, &[6, 6]);
    let book = farm.book();
    assert_eq!(whats(&book), [Disagreement::SumsDiffer { lot, stated: n(10), sum: n(12) }]);
    assert_eq!(book.lots[&boxes[1]].in_store, n(6));
    assert_eq!(book.lots[&lot].in_store, n(10));
    assert!(farm.flow(UnitKind::Division).agrees());
}

#[test]
fn a_whole_look_learns_from_days_since_each_unit_was_last_seen() {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-01", UnitKind::Division, 40);
    farm.note("2025-11-15", look(lot, Scope::Sample, 20, &[(LossCause::Rot, 2)]));
    farm.note("2025-12-01", look(lot, Scope::Whole, 38, &[(LossCause::DriedOut, 2)]));
    let book = farm.book();
    assert!(book.problems.is_empty(), "{:?}", book.problems);
    let lot = &book.lots[&lot];
    assert_eq!(rows(lot), [(14, 20, 2), (30, 20, 1), (16, 18, 1)]);
    assert_eq!(seen(lot), [(36, "2025-12-01".to_owned())]);
    assert_eq!(lot.lost[&LossCause::Rot], n(2));
}

#[test]
fn what_was_broken_was_alive_and_is_no_decay() {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-01", UnitKind::Division, 10);
    farm.note("2025-11-11", look(lot, Scope::Whole, 10, &[(LossCause::Broken, 3)]));
    let book = farm.book();
    assert_eq!(rows(&book.lots[&lot]), [(10, 10, 0)]);
    assert_eq!(book.lots[&lot].in_store, n(7));
}

#[test]
fn decay_found_between_looks_counts_with_the_next_whole_look() {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-01", UnitKind::Division, 40);
    farm.lose("2025-11-20", lot, 3, LossCause::Rot);
    farm.note("2025-12-01", look(lot, Scope::Whole, 37, &[(LossCause::Rot, 1)]));
    let book = farm.book();
    assert_eq!(rows(&book.lots[&lot]), [(30, 40, 4)]);
    assert_eq!(book.lots[&lot].unassigned_decay, Count::ZERO);
}

#[test]
fn a_lot_that_rots_away_between_looks_still_teaches() {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-01", UnitKind::Division, 4);
    farm.lose("2025-11-21", lot, 4, LossCause::Rot);
    assert_eq!(rows(&farm.book().lots[&lot]), [(20, 4, 4)]);
}

#[test]
fn units_sent_with_the_last_parcel_were_seen_alive() {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-01", UnitKind::Division, 10);
    farm.lose("2025-11-11", lot, 1, LossCause::Rot);
    farm.send("2025-12-01", lot, 9);
    assert_eq!(rows(&farm.book().lots[&lot]), [(30, 10, 1)]);
}

#[test]
fn units_that_leave_alive_are_no_loss() {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-01", UnitKind::Division, 10);
    farm.send("2025-12-01", lot, 4);
    let book = farm.book();
    assert_eq!(rows(&book.lots[&lot]), []);
    assert!(book.lots[&lot].lost.is_empty());
    assert_eq!(seen(&book.lots[&lot]), [(6, "2025-11-01".to_owned())]);
}

#[test]
fn a_count_that_differs_is_reported_and_the_book_is_not_overwritten() {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-01", UnitKind::Division, 40);
    let check = farm.note("2025-12-01", look(lot, Scope::Whole, 38, &[(LossCause::Rot, 1)]));
    let book = farm.book();
    assert_eq!(whats(&book), [Disagreement::CountDiffers { lot, counted: n(38), book: n(40) }]);
    assert_eq!(book.problems[0].entries, [check]);
    assert_eq!(book.lots[&lot].in_store, n(39));
    // The two that nobody saw are as old as before.
    assert_eq!(
        seen(&book.lots[&lot]),
        [(2, "2025-11-01".to_owned()), (37, "2025-12-01".to_owned())]
    );
}

#[test]
fn a_recount_corrects_the_book_in_sight() {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-01", UnitKind::Division, 40);
    farm.note("2025-12-01", Recount { lot, counted: n(38), missing: None });
    farm.note("2025-12-05", Recount { lot, counted: n(41), missing: None });
    let book = farm.book();
    assert_eq!(book.lots[&lot].in_store, n(41));
    assert_eq!(book.lots[&lot].lost[&LossCause::Mislaid], n(2));
    let flow = Flow { came_in: 40, found: 3, lost: 2, in_store: 41, ..Flow::default() };
    assert_eq!(farm.flow(UnitKind::Division), flow);
}

#[test]
fn taking_more_than_there_is_takes_what_is_there_and_says_so() {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-01", UnitKind::Division, 5);
    farm.send("2025-12-01", lot, 8);
    let book = farm.book();
    assert_eq!(whats(&book), [Disagreement::TakenMoreThanThere { lot, taken: n(8), had: n(5) }]);
    assert_eq!(book.lots[&lot].in_store, Count::ZERO);
    assert!(farm.flow(UnitKind::Division).agrees());
}

#[test]
fn a_november_look_noted_after_decembers_split_lands_where_it_belongs() {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-01", UnitKind::Division, 20);
    farm.split("2025-12-10", lot, 10, &[10]);
    farm.note("2025-11-20", look(lot, Scope::Whole, 20, &[]));
    let book = farm.book();
    assert!(book.problems.is_empty(), "{:?}", book.problems);
    assert_eq!(rows(&book.lots[&lot]), [(19, 20, 0)]);
    assert_eq!(fold_until(&farm.scribe.written, day("2025-11-30")).lots[&lot].in_store, n(20));
}

#[test]
fn the_same_look_noted_on_two_devices_counts_once() {
    let mut farm = Farm::new(2);
    let lot = farm.opening("2025-11-01", UnitKind::Division, 40);
    let check = look(lot, Scope::Whole, 40, &[(LossCause::Rot, 2)]);
    while farm.scribe.written.len() < 12 {
        farm.note("2025-12-01", check.clone());
    }
    let by_device = |first: bool| {
        let device = farm.scribe.written[2].device;
        farm.scribe.written[2..].iter().find(move |entry| (entry.device == device) == first)
    };
    let entries: Vec<&Entry> =
        farm.scribe.written[..2].iter().chain(by_device(true)).chain(by_device(false)).collect();
    assert_eq!(entries.len(), 4);
    let book = fold(entries.iter().copied());
    assert_eq!(whats(&book), [Disagreement::NotedTwice { lot, on: day("2025-12-01") }]);
    assert_eq!(book.problems[0].entries.len(), 2);
    assert_eq!(book.lots[&lot].in_store, n(38));
    assert_eq!(book.lots[&lot].looks.len(), 1);
}

#[test]
fn culling_stops_the_lot_and_what_is_made_of_it() {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-01", UnitKind::Division, 20);
    farm.lose("2025-11-20", lot, 1, LossCause::Culled);
    let boxes = farm.split("2025-12-01", lot, 5, &[5]);
    let since = LotCondition::Stopped(day("2025-11-20"));
    let book = farm.book();
    assert_eq!(book.lots[&lot].condition, since);
    assert_eq!(book.lots[&boxes[0]].condition, since);
}

#[test]
fn a_stop_is_not_woken_away() {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-01", UnitKind::Division, 20);
    farm.note("2025-11-20", Stop { lot, session: None, signs: "a lump".to_owned() });
    farm.note("2026-04-01", crate::ledger::body::WakeUp { lot });
    assert_eq!(farm.book().lots[&lot].condition, LotCondition::Stopped(day("2025-11-20")));
}

#[test]
fn a_look_before_the_lot_began_counts_and_asks_about_the_days() {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-10", UnitKind::Division, 20);
    farm.lose("2025-11-01", lot, 2, LossCause::Rot);
    let book = farm.book();
    let (on, began) = (day("2025-11-01"), day("2025-11-10"));
    assert_eq!(whats(&book), [Disagreement::BeforeItBegan { lot, on, began }]);
    assert_eq!(book.lots[&lot].in_store, n(18));
}

#[test]
fn a_lot_that_nobody_made_is_reported_and_nothing_else_changes() {
    let mut farm = Farm::new(1);
    let lot = farm.lot();
    farm.lose("2025-11-01", lot, 2, LossCause::Rot);
    let book = farm.book();
    assert_eq!(whats(&book), [Disagreement::UnknownLot { lot }]);
    assert!(book.lots.is_empty());
}

#[test]
fn striking_out_a_loss_brings_the_units_back() {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-01", UnitKind::Division, 20);
    let loss = farm.lose("2025-11-10", lot, 5, LossCause::Frozen);
    let strike = farm.note("2025-11-11", Void { entry: loss, why: None });
    let book = farm.book();
    assert_eq!(book.lots[&lot].in_store, n(20));
    assert!(book.struck_out.contains(&loss));
    farm.note("2025-11-12", Void { entry: strike, why: None });
    let book = farm.book();
    assert_eq!(book.lots[&lot].in_store, n(15), "the strike-out is struck out");
    assert!(book.problems.is_empty() && !book.struck_out.contains(&loss));
}

#[test]
fn what_was_handed_over_is_not_struck_out() {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-01", UnitKind::Division, 20);
    let hand_over = Some(HandOverId::new(farm.dice.id()));
    let (to, purpose) = ("a neighbour".to_owned(), Purpose::Swap);
    let sent = Send { lot, count: n(5), purpose, to, to_farm: None, hand_over };
    let sent = farm.note("2025-11-10", sent);
    farm.note("2025-11-11", Void { entry: sent, why: None });
    let book = farm.book();
    assert_eq!(book.lots[&lot].in_store, n(15));
    assert_eq!(whats(&book), [Disagreement::VoidOfNothing]);
}

#[test]
fn what_arrives_no_longer_comes() {
    let mut farm = Farm::new(1);
    let (coming, variety, unit) = (ComingId::new(farm.dice.id()), farm.variety, UnitKind::Division);
    let order = |count| Coming {
        coming,
        variety,
        unit,
        count: n(count),
        from: "a friend".to_owned(),
        expected: None,
    };
    farm.note("2025-11-01", order(10));
    farm.note("2025-11-05", order(12));
    assert_eq!(farm.book().coming[&coming].count, n(12));
    let lot = farm.lot();
    farm.note(
        "2025-11-20",
        Receive {
            lot,
            variety,
            unit,
            count: n(9),
            from: "a friend".to_owned(),
            from_farm: None,
            from_lot: None,
            hand_over: None,
            coming: Some(coming),
            condition: None,
        },
    );
    assert_eq!(farm.book().coming[&coming].count, n(3));
    farm.note("2025-11-21", order(0));
    assert!(farm.book().coming.is_empty());
}

#[test]
fn a_body_that_cannot_be_read_is_reported() {
    let mut farm = Farm::new(1);
    farm.opening("2025-11-01", UnitKind::Division, 20);
    let mut entry = farm.scribe.written[1].clone();
    entry.id = EntryId::new(farm.dice.id());
    entry.at = Stamp { millis: 1, counter: 0 };
    entry.body = serde_json::json!({"v": 1, "lot": "not an id"});
    let book = fold([&entry]);
    assert!(matches!(whats(&book)[..], [Disagreement::Unreadable { .. }]));
    assert_eq!(book.problems[0].entries, [entry.id]);
}

#[test]
fn a_unit_seen_later_is_never_made_older_by_a_late_note() {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-10", UnitKind::Division, 4);
    farm.note("2025-11-01", look(lot, Scope::Whole, 4, &[]));
    let groups = farm.book().lots[&lot].last_seen.clone();
    assert_eq!(groups, [SeenUnits { count: n(4), on: day("2025-11-10") }]);
}
