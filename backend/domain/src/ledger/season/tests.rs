//! The turn of the season, in the trade's sentences and for any ledger.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use proptest::prelude::*;

use super::{Confirmation, account_of, closing, open_account, seen};
use crate::ledger::body::{Body, ConfirmSeason, Lift, Plan, PlantOut, Recount, Scope, Stop, Void};
use crate::ledger::book::{Disagreement, Gone, Origin};
use crate::ledger::draft::check_draft;
use crate::ledger::example::{Farm, day, look, n};
use crate::ledger::generate::{plausible, wild};
use crate::ledger::undo::{Standing, UndoRefused, undo};
use crate::ledger::{Book, Clock, Draft, Entry, Hash, Refusal, Seq, fold, fold_until};
use crate::words::{Count, Day, DeviceId, EntryId, LossCause, LotId, Season, UnitKind};

fn season(year: u16) -> Season {
    year.try_into().unwrap()
}

impl Farm {
    fn close(&mut self, on: &str, year: u16) -> EntryId {
        let book = fold_until(&self.scribe.written, day(on));
        let body = closing(&book, season(year), seen(&self.scribe.written));
        self.note(on, body)
    }

    fn plant(&mut self, on: &str, lot: LotId, count: u16) -> EntryId {
        self.note(on, PlantOut { lot, count: n(count), bed: None })
    }

    fn ask(&self, on: &str, body: impl Into<Body>) -> Result<(), Refusal> {
        let draft = Draft { id: EntryId::new(uuid::Uuid::nil()), on: day(on), body: body.into() };
        check_draft(&self.book(), &draft, day("2027-12-31"))
    }
}

/// One winter: 40 stored, 4 rotted, 3 sent, 30 planted; 3 are left in store.
fn one_winter() -> (Farm, LotId) {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-01", UnitKind::Division, 40);
    farm.note("2026-01-10", look(lot, Scope::Whole, 40, &[(LossCause::Rot, 4)]));
    farm.send("2026-03-01", lot, 3);
    farm.plant("2026-05-10", lot, 30);
    (farm, lot)
}

#[test]
fn a_season_is_closed_and_what_is_left_goes_on_under_its_code() {
    let (mut farm, lot) = one_winter();
    let before = farm.book();
    farm.close("2026-10-01", 2026);
    let after = farm.book();
    assert!(after.problems.is_empty(), "{:?}", after.problems);
    assert_eq!((&before.lots, &before.flows), (&after.lots, &after.flows));
    let account = account_of(&farm.scribe.written, &after, season(2026)).unwrap();
    let of_lot = &account.lots[0];
    assert_eq!((of_lot.lot, of_lot.began_with, of_lot.carried), (lot, n(40), n(3)));
    assert_eq!(of_lot.gone_to(&[Gone::Planted]), n(30));
    assert_eq!(of_lot.gone_to(&[Gone::Swapped, Gone::Sold]), n(3));
    assert_eq!(of_lot.lost, n(4));
}

#[test]
fn a_closed_season_is_read_only_until_it_is_reopened() {
    let (mut farm, lot) = one_winter();
    let loss = farm.lose("2026-02-01", lot, 1, LossCause::Gnawed);
    let closing = farm.close("2026-10-01", 2026);
    let recount = || Recount { lot, counted: n(2), missing: None };
    let closed = Refusal::SeasonClosed { season: season(2026), closed: day("2026-10-01") };
    assert_eq!(farm.ask("2026-09-30", recount()), Err(closed));
    assert_eq!(farm.ask("2026-10-01", recount()), Ok(()));
    let entry = |farm: &Farm, id| {
        farm.scribe.written.iter().find(|entry: &&Entry| entry.id == id).cloned().unwrap()
    };
    let refused = undo(&farm.book(), &entry(&farm, loss), Standing::InTheChain, None).unwrap_err();
    assert!(matches!(refused, UndoRefused::SeasonClosed { .. }));
    undo(&farm.book(), &entry(&farm, closing), Standing::InTheChain, None).unwrap();
    farm.note("2026-10-02", Void { entry: closing, why: None });
    assert_eq!(farm.ask("2026-09-30", recount()), Ok(()));
    assert!(farm.book().seasons.is_empty());
}

#[test]
fn a_confirmed_closing_stands_whatever_is_struck_out() {
    let (mut farm, _) = one_winter();
    let closing = farm.close("2026-10-01", 2026);
    let confirm = |farm: &Farm| ConfirmSeason {
        season: season(2026),
        closing,
        seen: seen(&farm.scribe.written),
    };
    farm.note("2026-10-02", confirm(&farm));
    let book = farm.book();
    assert_eq!(book.seasons[0].confirmation, Confirmation::Confirmed(day("2026-10-02")));
    let confirmed = Refusal::SeasonConfirmed { season: season(2026) };
    assert_eq!(farm.ask("2026-10-03", Void { entry: closing, why: None }), Err(confirmed.clone()));
    assert_eq!(farm.ask("2026-10-03", confirm(&farm)), Err(confirmed));
    // A device that hadn't heard of it strikes out all the same: the closing stands, and it is said.
    farm.note("2026-10-03", Void { entry: closing, why: None });
    let book = farm.book();
    assert_eq!(book.seasons.len(), 1);
    assert_eq!(book.problems[0].what, Disagreement::VoidOfNothing);
}

/// Another device's entry that the closing didn't know.
fn from_afar(farm: &mut Farm, on: &str, body: impl Into<Body>) -> EntryId {
    let id = EntryId::new(farm.dice.id());
    let draft = Draft { id, on: day(on), body: body.into() };
    let device = DeviceId::new(farm.dice.id());
    let at = Clock::default().tick(1_700_000_000_000);
    let entry =
        Entry::seal(draft, farm.scribe.farm(), device, Seq::FIRST, at, Hash::START).unwrap();
    farm.scribe.written.push(entry);
    id
}

#[test]
fn what_comes_late_for_a_closed_season_counts_and_is_told() {
    let (mut farm, lot) = one_winter();
    let closing = farm.close("2026-10-01", 2026);
    let loss = crate::ledger::body::Loss { lot, count: n(1), cause: LossCause::Rot };
    let late = from_afar(&mut farm, "2026-04-01", loss);
    let book = farm.book();
    assert_eq!(book.lots[&lot].in_store, n(2));
    let whats: Vec<_> = book.problems.iter().map(|problem| problem.what.clone()).collect();
    let differs =
        Disagreement::CarriedDiffers { season: season(2026), lot, carried: n(3), book: n(2) };
    let closed = day("2026-10-01");
    assert_eq!(whats, [differs, Disagreement::LateForSeason { season: season(2026), closed }]);
    assert_eq!(book.problems[1].entries, [late]);

    // Counted and confirmed, it stands.
    farm.note("2026-10-05", Recount { lot, counted: n(2), missing: None });
    let seen = seen(&farm.scribe.written);
    farm.note("2026-10-05", ConfirmSeason { season: season(2026), closing, seen });
    assert!(farm.book().problems.is_empty());
}

#[test]
fn reopened_and_closed_again_a_late_entry_is_known() {
    let (mut farm, lot) = one_winter();
    let closing = farm.close("2026-10-01", 2026);
    let loss = crate::ledger::body::Loss { lot, count: n(1), cause: LossCause::Rot };
    from_afar(&mut farm, "2026-04-01", loss);
    farm.note("2026-10-02", Void { entry: closing, why: None });
    farm.close("2026-10-02", 2026);
    assert!(farm.book().problems.is_empty());
    assert_eq!(farm.book().seasons[0].on, day("2026-10-02"));
}

#[test]
fn clumps_lifted_next_autumn_name_the_lot_that_was_planted() {
    let (mut farm, planted) = one_winter();
    farm.close("2026-10-01", 2026);
    let (lot, variety) = (farm.lot(), farm.variety);
    let lift =
        || Lift { lot, variety, clumps: n(28), bed: None, label: None, planted: Some(planted) };
    assert_eq!(farm.ask("2026-10-15", lift()), Ok(()));
    farm.note("2026-10-15", lift());
    let book = farm.book();
    assert_eq!(book.lots[&lot].origin, Origin::Lifted(None, Some(planted)));
    let account = open_account(&farm.scribe.written, &book);
    let flow = account.flows[&(variety, UnitKind::Clump)];
    assert_eq!((flow.began_with, flow.came_in, flow.carried), (0, 28, 28));
    let flow = account.flows[&(variety, UnitKind::Division)];
    assert_eq!((flow.began_with, flow.came_in, flow.carried), (3, 0, 3));

    farm.note("2026-08-01", Stop { lot: planted, session: None, signs: "a gall".to_owned() });
    let condition = farm.book().lots[&lot].condition;
    assert_eq!(condition, crate::ledger::book::LotCondition::Stopped(day("2026-08-01")));
}

#[test]
fn the_plan_of_a_season_ends_with_it_and_what_was_learned_stays() {
    let (mut farm, lot) = one_winter();
    let plan = |planting: &str| Plan {
        variety: farm.variety,
        unit: UnitKind::Division,
        plants_wanted: n(20),
        planting: day(planting),
        keep_back: None,
        service_level: None,
    };
    let (this, next) = (plan("2026-05-10"), plan("2027-05-10"));
    farm.note("2025-12-01", this);
    farm.close("2026-10-01", 2026);
    assert!(farm.book().plans.is_empty());
    assert_eq!(farm.book().lots[&lot].loss_rows.len(), 1, "the next forecast learns from it");
    farm.note("2026-10-02", next);
    assert_eq!(farm.book().plans.len(), 1);
}

#[test]
fn seasons_are_closed_one_after_the_other() {
    let (mut farm, _) = one_winter();
    let first = farm.close("2026-10-01", 2026);
    let of = |farm: &Farm, year| closing(&farm.book(), season(year), Vec::new());
    let again = farm.ask("2026-10-03", of(&farm, 2026));
    assert!(matches!(again, Err(Refusal::SeasonClosed { .. })));
    assert!(matches!(farm.ask("2026-10-03", of(&farm, 2030)), Err(Refusal::OutOfRange { .. })));
    farm.close("2027-10-01", 2027);
    let reopen = farm.ask("2027-10-02", Void { entry: first, why: None });
    assert!(matches!(reopen, Err(Refusal::SeasonClosed { .. })), "only the last one is reopened");
    farm.note("2027-10-03", of(&farm, 2026));
    let whats: Vec<_> = farm.book().problems.into_iter().map(|problem| problem.what).collect();
    assert_eq!(whats, [Disagreement::SeasonClosedTwice { season: season(2026) }]);
}

/// Everything that a closing must leave as it was.
fn sums(book: &Book) -> (impl PartialEq + std::fmt::Debug + use<>, Vec<EntryId>) {
    let lots: Vec<_> = book.lots.values().cloned().collect();
    ((lots, book.flows.clone()), book.newer.clone())
}

fn closed_on(entries: &[Entry], on: Day) -> Vec<Entry> {
    let mut all = entries.to_vec();
    let book = fold_until(entries, on);
    let last = book.seasons.iter().chain(&fold(entries).seasons).map(|it| it.season).max();
    let next = last.map_or(season(2026), Season::next);
    let id = EntryId::new(crate::words::uuid_v7(1, [9; 10]));
    let draft = Draft { id, on, body: closing(&book, next, seen(entries)).into() };
    let device = DeviceId::new(crate::words::uuid_v7(1, [8; 10]));
    // Made after everything else of that day.
    let at = Clock::default().tick(4_000_000_000_000);
    let farm = entries[0].farm;
    all.push(Entry::seal(draft, farm, device, Seq::FIRST, at, Hash::START).unwrap());
    all
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]

    #[test]
    fn closing_and_opening_cancel_out(
        seed in any::<u64>(),
        entries in 1_usize..120,
        is_wild in any::<bool>(),
        at in any::<prop::sample::Index>(),
    ) {
        let written = if is_wild { wild(seed, entries) } else { plausible(seed, entries) };
        // A wild ledger may close seasons itself; this closing comes behind them.
        let last = written.iter().map(|entry| entry.on).max().unwrap();
        let on = if is_wild { last } else { written[at.index(written.len())].on };
        let closed = closed_on(&written, on);
        let (before, after) = (fold(&written), fold(&closed));
        prop_assert_eq!(sums(&before), sums(&after));
        prop_assert_eq!(before.problems.len(), after.problems.len());
        let year = after.seasons.iter().map(|it| it.season).max().unwrap();
        let account = account_of(&closed, &after, year).unwrap();
        for flow in account.flows.values() {
            prop_assert!(flow.agrees(), "{:?}", flow);
        }
        // Begun with, what came and what went are what the lots say.
        let carried: i64 = account.flows.values().map(|flow| flow.carried).sum();
        let in_lots: i64 = account.lots.iter().map(|lot| i64::from(lot.carried)).sum();
        prop_assert_eq!(carried, in_lots);
        // A count of a million is held there, so it says "at least".
        let is_held = |lot: &&super::LotAccount| {
            let lot = &after.lots[&lot.lot];
            let lost: Count = lot.lost.values().copied().sum();
            let mut counts = lot.gone.values().chain([&lot.found, &lost]);
            counts.any(|units| units.get() == Count::MAX)
        };
        for lot in account.lots.iter().filter(|lot| !is_held(lot)) {
            let gone: i64 = lot.gone.values().map(|units| i64::from(*units)).sum();
            let began = i64::from(lot.began_with) + i64::from(lot.found);
            prop_assert_eq!(began, gone + i64::from(lot.lost) + i64::from(lot.carried));
        }
    }
}
