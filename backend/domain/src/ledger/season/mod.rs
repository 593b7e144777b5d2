//! Seasons that were closed, and the account of one: what it began with, what came, what went, what
//! it carries forward.
//!
//! A season runs from lift to lift and ends with the entry that closes it; that entry's count of
//! what is in store is also the next one's beginning, so the two cancel out. What may not enter:
//! closing itself ([`super::draft`], [`super::undo`]).

mod account;
mod door;

#[cfg(test)]
mod tests;

pub use account::{Account, LotAccount, SeasonFlow, account_of, open_account};

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::Book;
use super::body::{Carried, CloseSeason, Seen};
use super::book::Flow;
use super::entry::{Entry, Seq};
use crate::words::{Day, DeviceId, EntryId, Season, UnitKind, VarietyId};

/// A season that was closed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ClosedSeason {
    /// Which.
    pub season: Season,
    /// The entry that closed it.
    pub closing: EntryId,
    /// The day it was closed; earlier days are read-only.
    pub on: Day,
    /// Whether it may still be reopened.
    pub confirmation: Confirmation,
    /// The sums of the whole book at the closing.
    pub flows: BTreeMap<(VarietyId, UnitKind), Flow>,
    /// Entries before the closing that neither it nor a confirmation knew.
    pub late: Vec<LateEntry>,
}

/// Whether a closing may still be taken back.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Confirmation {
    /// It may.
    Open,
    /// Not since that day.
    Confirmed(Day),
}

/// An entry and its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct LateEntry {
    /// The entry.
    pub entry: EntryId,
    /// The device that made it.
    pub device: DeviceId,
    /// Its place in that device's chain.
    pub seq: Seq,
}

/// How far every device's chain is known here.
pub fn seen<'a>(entries: impl IntoIterator<Item = &'a Entry>) -> Vec<Seen> {
    let mut ends: BTreeMap<DeviceId, Seq> = BTreeMap::new();
    for entry in entries {
        let end = ends.entry(entry.device).or_insert(entry.seq);
        *end = entry.seq.max(*end);
    }
    ends.into_iter().map(|(device, upto)| Seen { device, upto }).collect()
}

/// The entry body that closes a season: everything in store is carried forward. `book` is the book
/// as it stood on the closing's day, `seen` what is known of every chain.
pub fn closing(book: &Book, season: Season, seen: Vec<Seen>) -> CloseSeason {
    let carried = book.in_store().map(|(lot, count)| Carried { lot, count }).collect();
    CloseSeason { season, carried, seen }
}

impl Book {
    /// The season that was closed last.
    pub fn last_closed(&self) -> Option<&ClosedSeason> {
        self.seasons.last()
    }

    /// The closed season that an entry belongs to; none if it belongs to the season that is open.
    /// On the day of a closing itself the order of the entries decides, so `on` alone is taken as
    /// of the next season.
    pub fn closed_season_of(&self, on: Day) -> Option<&ClosedSeason> {
        self.seasons.iter().find(|closed| on < closed.on)
    }
}
