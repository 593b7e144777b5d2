//! What an offer would show.

use super::*;
use crate::ledger::body::{Divide, MadeLot, Scope, Store};
use crate::ledger::example::{Farm, day, look, n};
use crate::words::{LotId, Packing, UnitKind};

fn stored_lot(farm: &mut Farm) -> LotId {
    let lot = farm.opening("2025-11-01", UnitKind::Division, 40);
    if let Ok(place) = "cellar / tote 1".parse() {
        farm.note("2025-11-02", Store { lot, packing: Packing::Peat, place });
    }
    lot
}

#[test]
fn an_offer_shows_how_its_lot_came_through() {
    let mut farm = Farm::new(1);
    let lot = stored_lot(&mut farm);
    farm.note("2025-12-01", look(lot, Scope::Sample, 20, &[(LossCause::Rot, 2)]));
    farm.note("2026-01-12", look(lot, Scope::Whole, 38, &[(LossCause::Broken, 1)]));
    let book = farm.book();
    let history = survival_history(&book.lots[&lot], day("2026-01-20"));
    assert_eq!(
        history.sentence(),
        "Stored 2 November, looked at 2 times, last on 12 January: 37 of 38 sound. \
         Began with 40, 2 lost in store, 1 otherwise."
    );
    assert_eq!(history.spoken_causes(), "2 lost to rot, 1 broken in handling");
    assert_eq!(history.days_since_look, Some(8));
    assert_eq!((history.decayed, history.in_store), (n(2), n(37)));
}

#[test]
fn signs_of_disease_are_never_left_out() {
    let mut farm = Farm::new(1);
    let lot = stored_lot(&mut farm);
    farm.lose("2025-12-01", lot, 1, LossCause::Culled);
    let history = survival_history(&farm.book().lots[&lot], day("2026-01-20"));
    assert_eq!(history.disease, DiseaseSigns::Noted);
    assert!(history.sentence().ends_with("Signs of disease were noted."));
}

#[test]
fn a_box_split_off_was_looked_at_with_the_lot_it_came_from() {
    let mut farm = Farm::new(1);
    let lot = stored_lot(&mut farm);
    farm.note("2025-12-01", look(lot, Scope::Whole, 40, &[]));
    let boxes = farm.split("2025-12-05", lot, 10, &[10]);
    let history = survival_history(&farm.book().lots[&boxes[0]], day("2025-12-10"));
    assert_eq!((history.looks, history.last_look), (1, Some(day("2025-12-01"))));
    assert_eq!(history.sound_at_last_look, None);
}

#[test]
fn an_offer_is_firm_once_the_lot_was_looked_over_within_a_fortnight() {
    let mut farm = Farm::new(1);
    let lot = stored_lot(&mut farm);
    let firm = |farm: &Farm, on| firmness(&farm.book().lots[&lot], day(on), 14);
    assert_eq!(firm(&farm, "2025-11-05"), Firmness::Provisional);
    farm.note("2025-12-01", look(lot, Scope::Whole, 40, &[]));
    assert_eq!(firm(&farm, "2025-12-15"), Firmness::Firm);
    assert_eq!(firm(&farm, "2025-12-16"), Firmness::Provisional);
}

#[test]
fn bench_hygiene_is_found_up_the_chain_of_lots() {
    let mut farm = Farm::new(1);
    let clumps = farm.opening("2025-10-20", UnitKind::Clump, 5);
    let (session, lot) = (SessionId::new(farm.dice.id()), farm.lot());
    let tool_dip = Some(Solution {
        agent: "household bleach".to_owned(),
        strength_percent: Some(0.5),
        minutes: Some(2.0),
        made_up: None,
        label_percent: None,
    });
    let tools = ToolsBetweenClumps::Disinfected;
    farm.note(
        "2025-11-01",
        BenchSession {
            session,
            lots: vec![clumps],
            tools,
            tool_dip,
            soak: None,
            tool_sets: Some(2),
            until: None,
        },
    );
    let made =
        MadeLot { lot, unit: UnitKind::Division, count: n(20), eyes: Eyes::Eyed, label: None };
    farm.note(
        "2025-11-01",
        Divide {
            from: clumps,
            taken: n(5),
            made: vec![made],
            discards: Vec::new(),
            pieces: None,
            session: Some(session),
        },
    );
    let boxes = farm.split("2025-12-05", lot, 10, &[10]);
    let book = farm.book();
    assert_eq!(
        bench_hygiene(&book, boxes[0]).sentence(),
        "By the farm's own ledger: tools disinfected between clumps; \
         tool dip in household bleach at 0.5 % for 2 min; no tuber soak noted."
    );
    assert_eq!(bench_hygiene(&book, clumps), BenchHygiene::NotNoted);
}
