//! The turn of the season: what is carried forward, what comes late for a season that is closed.
//!
//! A closing changes no sum. What is in store stays in its lots; the old season's account ends with
//! it and the next begins with it. What may not enter: accounts of a season, which are made of the
//! book afterwards ([`crate::ledger::season`]).

use std::collections::{BTreeMap, BTreeSet};

use super::inforce::Noted;
use super::keeper::Keeper;
use crate::ledger::body::{Body, CloseSeason, ConfirmSeason, Seen};
use crate::ledger::book::{Disagreement, Problem};
use crate::ledger::season::{ClosedSeason, Confirmation, LateEntry};
use crate::words::{Count, LotId};

impl Keeper {
    /// Remembers an entry of the season that is still open, in case the closing didn't know it.
    /// Strike-outs happen on no day of a season; what they change is seen in what was carried.
    pub(super) fn remember_for_closing(&mut self, noted: Noted, body: &Body) {
        if matches!(body, Body::Void(_)) {
            return;
        }
        let Noted { id: entry, device, seq, .. } = noted;
        self.this_season.push(LateEntry { entry, device, seq });
    }

    /// Closes the season. A season that is closed already, or an earlier one, is reported.
    pub(super) fn close_season(&mut self, body: &CloseSeason, noted: Noted) {
        let season = body.season;
        if let Some(last) = self.book.seasons.last().filter(|last| season <= last.season) {
            let entries = vec![last.closing, noted.id];
            self.report(Disagreement::SeasonClosedTwice { season }, entries);
            return;
        }
        let stated: BTreeMap<LotId, Count> =
            body.carried.iter().map(|carried| (carried.lot, carried.count)).collect();
        let held: BTreeMap<LotId, Count> = self.book.in_store().collect();
        let lots: BTreeSet<LotId> = stated.keys().chain(held.keys()).copied().collect();
        for lot in lots {
            let of =
                |counts: &BTreeMap<LotId, Count>| counts.get(&lot).copied().unwrap_or_default();
            let (carried, book) = (of(&stated), of(&held));
            if carried != book {
                let what = Disagreement::CarriedDiffers { season, lot, carried, book };
                self.report(what, vec![noted.id]);
            }
        }
        let known = |late: &LateEntry| {
            late.entry == noted.id || Seen::covers(&body.seen, late.device, late.seq)
        };
        let mut late = std::mem::take(&mut self.this_season);
        late.retain(|late| !known(late));
        // Plans of the season that is over say nothing of the next.
        self.book.plans.retain(|_, plan| plan.planting > noted.on);
        self.book.seasons.push(ClosedSeason {
            season,
            closing: noted.id,
            on: noted.on,
            confirmation: Confirmation::Open,
            flows: self.book.flows.clone(),
            late,
        });
    }

    /// Confirms a closing; what came late and was known then stands.
    pub(super) fn confirm_season(&mut self, body: &ConfirmSeason, noted: Noted) {
        let season = body.season;
        let closed = self.book.seasons.iter_mut().find(|closed| closed.closing == body.closing);
        let Some(closed) = closed else {
            let entries = vec![noted.id, body.closing];
            self.report(Disagreement::ConfirmedNothing { season }, entries);
            return;
        };
        if closed.confirmation == Confirmation::Open {
            closed.confirmation = Confirmation::Confirmed(noted.on);
        }
        closed.late.retain(|late| !Seen::covers(&body.seen, late.device, late.seq));
    }

    /// What came late for a season that is closed.
    pub(super) fn late(&self) -> impl Iterator<Item = Problem> + '_ {
        let late = self.book.seasons.iter().filter(|closed| !closed.late.is_empty());
        late.map(|closed| Problem {
            what: Disagreement::LateForSeason { season: closed.season, closed: closed.on },
            entries: closed.late.iter().map(|late| late.entry).collect(),
        })
    }
}
