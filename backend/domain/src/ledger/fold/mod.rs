//! Entries -> book.
//!
//! ```text
//! inforce    each entry once, in order, read
//! strikes    which strike-outs hold, those of strike-outs among them
//! standing   which entries are struck out, told so that a fold can be paused
//! running    a fold under way, day by day
//! snapshot   a paused fold, and whether it still fits the ledger
//! form       a paused fold as bytes
//! keeper     the few moves by which units come, go and are lost
//! groups     units of a lot by the day last seen alive
//! stock      lifts, receipts, storing, sending, plans
//! divide     dividing, potting up, cuttings
//! check      looks, losses, recounts
//! season     closing a season, what comes late for it
//! varieties  what is known of varieties
//! ```
//!
//! The order is day, clock, device, sequence, so the same set of entries gives the same book
//! whatever the order of arrival. An entry that stands before the one that makes its lot (noted on
//! another device, or dated too early) waits for it. Nothing is dropped: where facts disagree the
//! fold carries on and the book says so in [`Book::problems`].
//!
//! What may not enter: refusing. What a person just typed wrong is refused at the door
//! ([`crate::ledger::draft`]); what is written is a fact.

mod check;
mod divide;
mod form;
mod groups;
mod inforce;
mod keeper;
mod running;
mod season;
mod snapshot;
mod standing;
mod stock;
mod strikes;
mod varieties;

#[cfg(test)]
mod properties;
#[cfg(test)]
mod tests;

use inforce::Fact;
use keeper::{Keeper, Way};
use running::{Fold, Run, stands_alone};

use super::body::Body;
use super::book::{Book, Disagreement, Gone};
use super::entry::Entry;
use crate::words::{Day, LotId};

pub use snapshot::{
    Cover, Folded, Folding, Kept, OutOfOrder, Sealed, Snapshot, SnapshotError, superseded,
};

/// The stock book that a set of entries makes.
///
/// ```
/// use spareloop_domain::ledger::{Book, fold};
/// assert_eq!(fold([]), Book::default());
/// ```
pub fn fold<'a>(entries: impl IntoIterator<Item = &'a Entry>) -> Book {
    from_nothing(entries).finish().keeper.book
}

/// The stock book as it stood at the end of a day, with today's strike-outs.
///
/// A look that is noted late is held against this book, not against today's.
pub fn fold_until<'a>(entries: impl IntoIterator<Item = &'a Entry>, day: Day) -> Book {
    let mut run = from_nothing(entries);
    run.until(day);
    run.into_book_so_far()
}

fn from_nothing<'a>(entries: impl IntoIterator<Item = &'a Entry>) -> Run {
    // Before the first entry nothing was taken in that could stand otherwise.
    Fold::default().go_on(entries, |_| false).unwrap_or_else(|_| unreachable!("nothing is stale"))
}

impl Keeper {
    /// The first lot that the entry needs and that is not on the book.
    fn first_missing(&self, fact: &Fact) -> Option<LotId> {
        if stands_alone(&fact.body) {
            return None;
        }
        fact.body.lots_needed().into_iter().find(|lot| self.lot(*lot).is_none())
    }

    fn report_days(&mut self, fact: &Fact) {
        for id in fact.body.lots_needed() {
            if let Some(began) = self.lot(id).map(|lot| lot.began).filter(|b| fact.noted.on < *b) {
                let what = Disagreement::BeforeItBegan { lot: id, on: fact.noted.on, began };
                self.report(what, vec![fact.noted.id]);
            }
        }
    }

    fn take_in(&mut self, fact: &Fact) {
        let noted = fact.noted;
        if let Some(variety) = fact.body.variety() {
            self.speak_of(variety, noted.id);
        }
        if !stands_alone(&fact.body) {
            self.report_days(fact);
        }
        match &fact.body {
            Body::Opening(body) => self.open(body, noted),
            Body::Lift(body) => self.lift(body, noted),
            Body::Divide(body) => self.divide(body, noted),
            Body::BenchSession(body) => self.note_session(body),
            Body::Store(body) => self.store(body, noted),
            Body::Move(body) => self.move_lot(body.lot, &body.place),
            Body::Check(body) => self.check(body, noted),
            Body::Recount(body) => self.recount(body, noted),
            Body::Loss(body) => {
                self.leave(body.lot, body.count, Way::Lost(body.cause), noted);
            }
            Body::Stop(body) => self.stop(body.lot, noted.on),
            Body::WakeUp(body) => self.wake_up(body.lot, noted),
            Body::PotUp(body) => self.pot_up(body, noted),
            Body::TakeCuttings(body) => self.take_cuttings(body, noted),
            Body::PlantOut(body) => self.go_out(body.lot, body.count, Gone::Planted, noted),
            Body::CameUp(body) => self.came_up(body, noted),
            Body::Yield(body) => self.note_yield_record(body),
            Body::Receive(body) => self.receive(body, noted),
            Body::Send(body) => self.go_out(body.lot, body.count, body.purpose.into(), noted),
            Body::Coming(body) => self.note_coming(body),
            Body::Plan(body) => self.plan(body),
            Body::VarietyNote(body) => self.note_variety(body),
            Body::CloseSeason(body) => self.close_season(body, noted),
            Body::ConfirmSeason(body) => self.confirm_season(body, noted),
            Body::Newer { .. } => self.book.newer.push(noted.id),
            // Facts of the history that change no count: read where they are shown.
            Body::Wash(_)
            | Body::Dry(_)
            | Body::Climate(_)
            | Body::Weigh(_)
            | Body::FieldObservation(_)
            | Body::Void(_) => {}
        }
    }
}
