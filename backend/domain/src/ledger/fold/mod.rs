//! Entries -> book.
//!
//! ```text
//! inforce    which entries count: each once, in order, strike-outs applied
//! strikes    which strike-outs hold, those of strike-outs among them
//! keeper     the few moves by which units come, go and are lost
//! groups     units of a lot by the day last seen alive
//! stock      lifts, receipts, storing, sending, plans
//! divide     dividing, potting up, cuttings
//! check      looks, losses, recounts
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
mod groups;
mod inforce;
mod keeper;
mod stock;
mod strikes;
mod varieties;

#[cfg(test)]
mod properties;
#[cfg(test)]
mod tests;

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use inforce::{Fact, InForce, in_force};
use keeper::{Keeper, Way};

use super::body::Body;
use super::book::{Book, Disagreement};
use super::entry::Entry;
use crate::words::{Day, LotId};

/// The stock book that a set of entries makes.
///
/// ```
/// use spareloop_domain::ledger::{Book, fold};
/// assert_eq!(fold([]), Book::default());
/// ```
pub fn fold<'a>(entries: impl IntoIterator<Item = &'a Entry>) -> Book {
    write_book(in_force(entries))
}

/// The stock book as it stood at the end of a day, with today's strike-outs.
///
/// A look that is noted late is held against this book, not against today's.
pub fn fold_until<'a>(entries: impl IntoIterator<Item = &'a Entry>, day: Day) -> Book {
    let mut entries = in_force(entries);
    entries.facts.retain(|fact| fact.noted.on <= day);
    write_book(entries)
}

fn write_book(entries: InForce) -> Book {
    let InForce { facts, struck_out, problems } = entries;
    let mut keeper = Keeper::default();
    keeper.book.struck_out = struck_out;
    keeper.book.problems = problems;
    let makes: BTreeSet<LotId> = facts.iter().flat_map(|fact| fact.body.lots_made()).collect();
    let mut waiting: BTreeMap<LotId, Vec<usize>> = BTreeMap::new();
    let mut agenda: VecDeque<usize> = VecDeque::new();
    for next in 0..facts.len() {
        agenda.push_back(next);
        while let Some(index) = agenda.pop_front() {
            let fact = &facts[index];
            match keeper.first_missing(fact) {
                Some(lot) if makes.contains(&lot) => waiting.entry(lot).or_default().push(index),
                Some(_) => keeper.report_unknown(fact),
                None => {
                    keeper.take_in(fact);
                    let freed =
                        fact.body.lots_made().into_iter().filter_map(|lot| waiting.remove(&lot));
                    for index in freed.flatten().collect::<Vec<_>>().into_iter().rev() {
                        agenda.push_front(index);
                    }
                }
            }
        }
    }
    // Only entries that wait for a lot whose making itself never took effect are left.
    let left: BTreeSet<usize> = waiting.into_values().flatten().collect();
    for index in left {
        keeper.report_unknown(&facts[index]);
    }
    for fact in facts.iter().filter(|fact| stands_alone(&fact.body)) {
        keeper.report_unknown(fact);
        keeper.report_days(fact);
    }
    keeper.write_cards();
    keeper.book
}

/// Whether an entry holds by itself, also where a lot that it names isn't there: a dividing session
/// and a field note change no count and wait for nothing.
const fn stands_alone(body: &Body) -> bool {
    matches!(body, Body::BenchSession(_) | Body::FieldObservation(_))
}

impl Keeper {
    /// The first lot that the entry needs and that is not on the book.
    fn first_missing(&self, fact: &Fact) -> Option<LotId> {
        if stands_alone(&fact.body) {
            return None;
        }
        fact.body.lots_needed().into_iter().find(|lot| self.lot(*lot).is_none())
    }

    fn report_unknown(&mut self, fact: &Fact) {
        for lot in fact.body.lots_needed() {
            if self.lot(lot).is_none() {
                self.report(Disagreement::UnknownLot { lot }, vec![fact.noted.id]);
            }
        }
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
            Body::PlantOut(body) => self.go_out(body.lot, body.count, noted),
            Body::CameUp(body) => self.came_up(body, noted),
            Body::Yield(body) => self.note_yield_record(body),
            Body::Receive(body) => self.receive(body, noted),
            Body::Send(body) => self.go_out(body.lot, body.count, noted),
            Body::Coming(body) => self.note_coming(body),
            Body::Plan(body) => self.plan(body),
            Body::VarietyNote(body) => self.note_variety(body),
            Body::Newer { .. } => self.book.newer.push(noted.id),
            // Facts of the history that change no count: read where they are shown.
            Body::Wash(_)
            | Body::Dry(_)
            | Body::Climate(_)
            | Body::FieldObservation(_)
            | Body::Void(_) => {}
        }
    }
}
