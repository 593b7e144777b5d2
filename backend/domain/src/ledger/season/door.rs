//! The rules at the door for the turn of the season, and for what grew of a lot of the last one.
//!
//! What may not enter: undo ([`crate::ledger::undo`]), the rules of other kinds.

use std::collections::{BTreeMap, BTreeSet};

use super::Confirmation;
use crate::ledger::body::{CloseSeason, ConfirmSeason, Lift};
use crate::ledger::draft::{Door, some};
use crate::ledger::refusal::Refusal;
use crate::words::{Count, EntryId, LotId};

impl Door<'_> {
    /// Clumps are of the variety that was planted there.
    pub(in crate::ledger) fn lift(&self, lift: &Lift) -> Result<(), Refusal> {
        some(lift.clumps, "the count of clumps")?;
        match lift.planted {
            Some(planted) if self.lot(planted)?.variety != lift.variety => {
                Err(Refusal::OtherVariety { lot: planted })
            }
            _ => Ok(()),
        }
    }

    /// Seasons are closed one after the other, with everything in store carried forward.
    pub(in crate::ledger) fn close_season(&self, body: &CloseSeason) -> Result<(), Refusal> {
        let season = body.season;
        if let Some(last) = self.book.last_closed().filter(|last| season <= last.season) {
            return Err(Refusal::SeasonClosed { season: last.season, closed: last.on });
        }
        let year = i32::from(season.year());
        if (year - self.on.year()).abs() > 1 {
            return Err(Refusal::OutOfRange {
                what: "the season",
                value: f64::from(year),
                range: "within a year of the day on which it is closed",
            });
        }
        let carried: BTreeMap<LotId, Count> =
            body.carried.iter().map(|carried| (carried.lot, carried.count)).collect();
        let held: BTreeMap<LotId, Count> = self.book.in_store().collect();
        let lots: BTreeSet<LotId> = carried.keys().chain(held.keys()).copied().collect();
        for lot in lots {
            let of =
                |counts: &BTreeMap<LotId, Count>| counts.get(&lot).copied().unwrap_or_default();
            let (counted, book) = (of(&carried), of(&held));
            if counted != book {
                return Err(Refusal::CountDiffers { lot, counted, book });
            }
        }
        Ok(())
    }

    /// A closing is confirmed once, and again only where something came late since.
    pub(in crate::ledger) fn confirm_season(&self, body: &ConfirmSeason) -> Result<(), Refusal> {
        let season = body.season;
        let closed = self.book.seasons.iter().find(|closed| closed.closing == body.closing);
        match closed {
            Some(closed) if closed.season == season => {
                if closed.confirmation != Confirmation::Open && closed.late.is_empty() {
                    return Err(Refusal::SeasonConfirmed { season });
                }
                Ok(())
            }
            _ => Err(Refusal::SeasonNotClosed { season }),
        }
    }

    /// Only the last closing is taken back, and only until it is confirmed.
    pub(in crate::ledger) fn reopen(&self, entry: EntryId) -> Result<(), Refusal> {
        let seasons = &self.book.seasons;
        let Some(index) = seasons.iter().position(|closed| closed.closing == entry) else {
            return Ok(());
        };
        let closed = &seasons[index];
        if closed.confirmation != Confirmation::Open {
            return Err(Refusal::SeasonConfirmed { season: closed.season });
        }
        match seasons.get(index + 1) {
            Some(later) => Err(Refusal::SeasonClosed { season: later.season, closed: later.on }),
            None => Ok(()),
        }
    }
}
