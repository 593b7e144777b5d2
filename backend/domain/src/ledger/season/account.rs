//! The account of one season: by lot and by variety and unit kind.
//!
//! What may not enter: words for people, layout.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use super::super::book::{Book, Flow, Gone, Lot};
use super::super::entry::Entry;
use super::super::fold;
use super::ClosedSeason;
use crate::words::{Count, LotId, Season, UnitKind, VarietyId};

/// What happened in a season.
#[derive(Debug, Clone, PartialEq)]
pub struct Account {
    /// By variety and unit kind; its sums agree.
    pub flows: BTreeMap<(VarietyId, UnitKind), SeasonFlow>,
    /// By lot: every lot that was there in that season.
    pub lots: Vec<LotAccount>,
}

/// Began with + in + made + found = out + lost + carried, per variety and unit kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct SeasonFlow {
    /// Carried over from the season before.
    pub began_with: i64,
    /// Lifted, received, on hand when the book began.
    pub came_in: i64,
    /// Made by dividing, potting, cutting.
    pub made: i64,
    /// Found by a recount.
    pub found: i64,
    /// Sent, planted, divided or potted up.
    pub went_out: i64,
    /// Lost, whatever the cause.
    pub lost: i64,
    /// In store at the end: carried into the next.
    pub carried: i64,
}

impl SeasonFlow {
    fn between(before: Flow, after: Flow) -> Self {
        Self {
            began_with: before.in_store,
            came_in: after.came_in - before.came_in,
            made: after.made - before.made,
            found: after.found - before.found,
            went_out: after.went_out - before.went_out,
            lost: after.lost - before.lost,
            carried: after.in_store,
        }
    }

    /// Whether the sums agree.
    pub const fn agrees(&self) -> bool {
        self.began_with + self.came_in + self.made + self.found
            == self.went_out + self.lost + self.carried
    }

    fn is_nothing(&self) -> bool {
        *self == Self::default()
    }
}

/// One lot in a season.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LotAccount {
    /// Which.
    pub lot: LotId,
    /// Its variety.
    pub variety: VarietyId,
    /// What a unit is.
    pub unit: UnitKind,
    /// Carried over from the season before, or what the lot began with in this one.
    pub began_with: Count,
    /// Found by recounts.
    pub found: Count,
    /// Gone alive, by where.
    pub gone: BTreeMap<Gone, Count>,
    /// Lost, whatever the cause.
    pub lost: Count,
    /// In store at the end: carried into the next season under the same code.
    pub carried: Count,
}

impl LotAccount {
    fn between(before: Option<&Lot>, after: &Lot) -> Self {
        let gone_before = |way: Gone| before.and_then(|lot| lot.gone.get(&way)).copied();
        let gone = after
            .gone
            .iter()
            .map(|(way, units)| (*way, units.less(gone_before(*way).unwrap_or_default())))
            .filter(|(_, units)| !units.is_zero())
            .collect();
        let lost = |lot: &Lot| -> Count { lot.lost.values().copied().sum() };
        Self {
            lot: after.id,
            variety: after.variety,
            unit: after.unit,
            began_with: before.map_or(after.began_with, |lot| lot.in_store),
            found: after.found.less(before.map_or(Count::ZERO, |lot| lot.found)),
            gone,
            lost: lost(after).less(before.map_or(Count::ZERO, lost)),
            carried: after.in_store,
        }
    }

    /// Units gone to any of these.
    pub fn gone_to(&self, ways: &[Gone]) -> Count {
        ways.iter().filter_map(|way| self.gone.get(way)).copied().sum()
    }
}

/// The account between two moments of a book: the end of the season before (none for the first
/// one) and the end of this one.
fn between(
    before: Option<&Book>,
    flows_before: Option<&BTreeMap<(VarietyId, UnitKind), Flow>>,
    after: &Book,
) -> Account {
    let kinds: BTreeSet<(VarietyId, UnitKind)> = after.flows.keys().copied().collect();
    let flow_before = |kind: &(VarietyId, UnitKind)| {
        flows_before.and_then(|flows| flows.get(kind)).copied().unwrap_or_default()
    };
    let flows = kinds
        .into_iter()
        .map(|kind| {
            let now = after.flows.get(&kind).copied().unwrap_or_default();
            (kind, SeasonFlow::between(flow_before(&kind), now))
        })
        .filter(|(_, flow)| !flow.is_nothing())
        .collect();
    let lot_before = |lot: &Lot| before.and_then(|book| book.lots.get(&lot.id));
    let is_over = |lot: &Lot| lot_before(lot).is_some_and(|was| was.in_store.is_zero());
    let found_since = |lot: &Lot| {
        lot_before(lot).is_some_and(|was| was.in_store.is_zero() && lot.found > was.found)
    };
    let lots = after
        .lots
        .values()
        .filter(|lot| !is_over(lot) || found_since(lot))
        .map(|lot| LotAccount::between(lot_before(lot), lot))
        .collect();
    Account { flows, lots }
}

/// The book as a closing left it, with today's strike-outs.
fn book_at(entries: &[Entry], closed: &ClosedSeason) -> Option<Book> {
    let end = entries.iter().find(|entry| entry.id == closed.closing)?.order();
    // Strike-outs and confirmations say what holds, whenever they were noted.
    let until = entries.iter().filter(|entry| {
        entry.order() <= end || matches!(entry.kind.as_str(), "void" | "confirm-season")
    });
    Some(fold(until))
}

/// The account of the season that is open, up to `now`; `entries` are the whole ledger, of which
/// `now` is the fold, or the fold up to a day.
pub fn open_account(entries: &[Entry], now: &Book) -> Account {
    let last = now.last_closed();
    let before = last.and_then(|closed| book_at(entries, closed));
    between(before.as_ref(), last.map(|closed| &closed.flows), now)
}

/// The account of a season that was closed; none if it wasn't.
pub fn account_of(entries: &[Entry], now: &Book, season: Season) -> Option<Account> {
    let index = now.seasons.iter().position(|closed| closed.season == season)?;
    let after = book_at(entries, &now.seasons[index])?;
    let last = index.checked_sub(1).and_then(|index| now.seasons.get(index));
    let before = last.and_then(|closed| book_at(entries, closed));
    Some(between(before.as_ref(), last.map(|closed| &closed.flows), &after))
}
