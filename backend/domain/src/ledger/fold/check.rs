//! Looks, losses outside a look, and recounts.
//!
//! What may not enter: dividing, sending, planting.

use super::groups::{self, Found};
use super::inforce::Noted;
use super::keeper::{Keeper, Way, close_if_empty, note_loss};
use crate::ledger::body::{Check, LostUnits, Recount, Scope};
use crate::ledger::book::{Disagreement, LookRecord};
use crate::words::{Count, EntryId, LossCause};

impl Keeper {
    /// A dated look at a lot. Only losses are taken out; a count that differs is reported and the
    /// book stays as it is until a recount says so.
    pub(super) fn check(&mut self, check: &Check, noted: Noted) {
        if let Some(first) = self.noted_before(check, noted) {
            let what = Disagreement::NotedTwice { lot: check.lot, on: noted.on };
            self.report(what, vec![first, noted.id]);
            return;
        }
        self.report_sums(check, noted);
        let lost = Losses::of(&check.lost);
        let gone = self.at_most(check.lot, lost.total(), noted);
        let Some(lot) = self.book.lots.get_mut(&check.lot) else { return };
        // Units found lost were looked at, whatever the stated number.
        let looked = check.inspected.min(lot.in_store).max(gone);
        let decayed = lost.decay.min(gone);
        let otherwise = gone.less(decayed);
        let unassigned = match check.scope {
            Scope::Whole => std::mem::take(&mut lot.unassigned_decay),
            Scope::Sample => Count::ZERO,
        };
        let found = Found {
            on: noted.on,
            looked: looked.get(),
            decayed: decayed.get(),
            otherwise: otherwise.get(),
            unassigned: unassigned.get(),
        };
        let oldest = lot.last_seen.first().map_or(lot.began, |group| group.on);
        let rows = groups::look(&mut lot.last_seen, &found);
        lot.loss_rows.extend(rows);
        lot.in_store = lot.in_store.less(gone);
        for (cause, units) in within(&check.lost, decayed, otherwise) {
            note_loss(lot, cause, units);
        }
        close_if_empty(lot, oldest, noted.on, Count::ZERO);
        lot.doubtful = check.doubtful;
        lot.sprouted = check.sprouted.unwrap_or_default();
        lot.looks.push(record(check, noted));
        let (variety, unit) = (lot.variety, lot.unit);
        let flow = self.flow(variety, unit);
        flow.in_store -= i64::from(gone);
        flow.lost += i64::from(gone);
        if check.lost.iter().any(|lost| lost.cause == LossCause::Culled && !lost.count.is_zero()) {
            self.stop(check.lot, noted.on);
        }
    }

    /// The entry by which another device noted the very same look.
    fn noted_before(&mut self, check: &Check, noted: Noted) -> Option<EntryId> {
        let looks = self.looks.entry((check.lot, noted.on, check.look)).or_default();
        let first = looks
            .iter()
            .find(|(device, _, other)| *device != noted.device && other == check)
            .map(|(_, entry, _)| *entry);
        if first.is_none() {
            looks.push((noted.device, noted.id, check.clone()));
        }
        first
    }

    fn report_sums(&mut self, check: &Check, noted: Noted) {
        let lot = check.lot;
        let sum = check.sum();
        if sum != check.inspected {
            let what = Disagreement::SumsDiffer { lot, stated: check.inspected, sum };
            self.report(what, vec![noted.id]);
        }
        let book = self.lot(lot).map(|lot| lot.in_store).unwrap_or_default();
        let differs = match check.scope {
            Scope::Whole => check.inspected != book,
            Scope::Sample => check.inspected > book,
        };
        if differs {
            let what = Disagreement::CountDiffers { lot, counted: check.inspected, book };
            self.report(what, vec![noted.id]);
        } else if check.scope == Scope::Whole {
            self.settle_count(lot);
        }
    }

    /// A count that corrects the book: up is found, down is lost to the cause stated.
    pub(super) fn recount(&mut self, recount: &Recount, noted: Noted) {
        let Some(lot) = self.lot(recount.lot) else { return };
        let had = lot.in_store;
        self.settle_count(recount.lot);
        if recount.counted > had {
            self.find(recount.lot, recount.counted.less(had), noted.on);
        } else {
            let cause = recount.missing.unwrap_or(LossCause::Mislaid);
            self.leave(recount.lot, had.less(recount.counted), Way::Lost(cause), noted);
        }
    }
}

impl Check {
    /// Sound, doubtful and lost together.
    pub fn sum(&self) -> Count {
        self.sound.plus(self.doubtful).plus(self.lost.iter().map(|lost| lost.count).sum())
    }
}

struct Losses {
    decay: Count,
    other: Count,
}

impl Losses {
    fn of(lost: &[LostUnits]) -> Self {
        let (decay, other): (Vec<&LostUnits>, Vec<&LostUnits>) =
            lost.iter().partition(|lost| lost.cause.is_decay());
        let sum = |part: Vec<&LostUnits>| part.into_iter().map(|lost| lost.count).sum();
        Self { decay: sum(decay), other: sum(other) }
    }

    fn total(&self) -> Count {
        self.decay.plus(self.other)
    }
}

/// Losses by cause, held within what could be taken, in the order stated.
fn within(lost: &[LostUnits], mut decay: Count, mut other: Count) -> Vec<(LossCause, Count)> {
    lost.iter()
        .map(|lost| {
            let left = if lost.cause.is_decay() { &mut decay } else { &mut other };
            let units = lost.count.min(*left);
            *left = left.less(units);
            (lost.cause, units)
        })
        .collect()
}

fn record(check: &Check, noted: Noted) -> LookRecord {
    LookRecord {
        entry: noted.id,
        on: noted.on,
        look: check.look,
        scope: check.scope,
        inspected: check.inspected,
        sound: check.sound,
        doubtful: check.doubtful,
        lost: check.lost.clone(),
    }
}
