//! A fold under way: entries are taken in in order, day by day, and it can be paused after a day.
//!
//! What may not enter: where paused folds are kept, and whether one still fits its ledger
//! ([`super::snapshot`] says that).

use std::collections::{BTreeMap, VecDeque};

use super::inforce::{Fact, Noted, in_order, read};
use super::keeper::Keeper;
use super::standing::{Seen, Stale, Standing, Strikable};
use crate::ledger::body::{Body, BodyError};
use crate::ledger::book::{Book, Disagreement, Problem};
use crate::ledger::clock::Stamp;
use crate::ledger::entry::{Entry, Hash, Seq};
use crate::words::{Day, DeviceId, EntryId, LotId};

/// What the fold knows after the entries that it has taken in.
#[derive(Debug, Clone, Default)]
pub(super) struct Fold {
    pub keeper: Keeper,
    /// Facts that wait for the entry that makes a lot.
    pub waiting: BTreeMap<LotId, Vec<Fact>>,
    /// Lots that a fact which stands alone names and that weren't there when it was taken in.
    pub apart: Vec<Apart>,
    /// How many facts were taken in.
    pub turn: u64,
    /// Entries in force that can't be read.
    pub unreadable: Vec<Problem>,
    pub standing: Standing,
}

/// A lot that an entry names which holds by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub(super) struct Apart {
    pub entry: EntryId,
    pub on: Day,
    pub lot: LotId,
}

/// A readable or unreadable entry that is still to be taken in.
#[derive(Debug, Clone)]
// Nearly all are facts, so that a box would cost more than it saves.
#[allow(clippy::large_enum_variant)]
enum Next {
    Fact(Noted, Body),
    Unreadable(Noted, Problem),
}

impl Next {
    const fn on(&self) -> Day {
        match self {
            Self::Fact(noted, _) | Self::Unreadable(noted, _) => noted.on,
        }
    }
}

/// An entry's place, for what a paused fold covers.
#[derive(Debug, Clone, Copy)]
pub(super) struct Placed {
    pub id: EntryId,
    pub on: Day,
    pub device: DeviceId,
    pub seq: Seq,
    pub hash: Hash,
}

/// A fold and what it still has to take in.
#[derive(Debug, Clone)]
pub(super) struct Run {
    pub fold: Fold,
    coming: VecDeque<Next>,
    /// Every entry of the run, those that count once or not at all among them.
    pub placed: Vec<Placed>,
    /// The last entry's place in the fold's order.
    pub last: Option<Order>,
}

/// An entry's place in the fold's order.
pub(super) type Order = (Day, Stamp, DeviceId, Seq);

impl Fold {
    /// Goes on with entries that stand behind all that was taken in. `taken_in` says whether an
    /// entry was; it is asked for few.
    pub(super) fn go_on<'a>(
        mut self,
        tail: impl IntoIterator<Item = &'a Entry>,
        taken_in: impl FnMut(EntryId) -> bool,
    ) -> Result<Run, Stale> {
        let mut placed = Vec::new();
        let tail = tail.into_iter().inspect(|entry| {
            let Entry { id, on, device, seq, hash, .. } = **entry;
            placed.push(Placed { id, on, device, seq, hash });
        });
        let sorted = in_order(tail);
        let read = read(&sorted);
        let seen: Vec<Seen<'_>> = sorted
            .iter()
            .zip(&read)
            .map(|(entry, (_, body))| Seen {
                entry,
                strikable: match body {
                    Ok(body) if !body.may_be_struck_out() => Strikable::No,
                    _ => Strikable::Yes,
                },
                confirms: match body {
                    Ok(Body::ConfirmSeason(confirmed)) => Some(confirmed.closing),
                    _ => None,
                },
                strikes: match body {
                    Ok(Body::Void(void)) => Some(void.entry),
                    _ => None,
                },
            })
            .collect();
        self.standing = self.standing.weigh(&seen, taken_in)?;
        let struck = self.standing.struck();
        let coming = read
            .into_iter()
            .filter(|(noted, _)| !struck.contains(&noted.id))
            .map(|(noted, body)| match body {
                Ok(body) => Next::Fact(noted, body),
                Err(error) => Next::Unreadable(noted, unreadable(noted, &error)),
            })
            .collect();
        let last = sorted.last().map(|entry| entry.order());
        Ok(Run { fold: self, coming, placed, last })
    }

    fn take_in(&mut self, noted: Noted, body: Body) {
        self.keeper.turn_to(noted.on);
        self.keeper.remember_for_closing(noted, &body);
        let mut agenda = VecDeque::from([Fact { noted, turn: self.turn, body }]);
        self.turn += 1;
        while let Some(fact) = agenda.pop_front() {
            if let Some(lot) = self.keeper.first_missing(&fact) {
                self.waiting.entry(lot).or_default().push(fact);
                continue;
            }
            self.keeper.take_in(&fact);
            self.set_apart(&fact);
            let freed =
                fact.body.lots_made().into_iter().filter_map(|lot| self.waiting.remove(&lot));
            for fact in freed.flatten().collect::<Vec<_>>().into_iter().rev() {
                agenda.push_front(fact);
            }
        }
    }

    /// Lots that are there began on this day or earlier, so there is nothing to say of them.
    fn set_apart(&mut self, fact: &Fact) {
        let (entry, on) = (fact.noted.id, fact.noted.on);
        let named = named_apart(&fact.body);
        let missing = named.into_iter().filter(|lot| self.keeper.lot(*lot).is_none());
        self.apart.extend(missing.map(|lot| Apart { entry, on, lot }));
    }

    /// What disagrees as far as was taken in: strike-outs, what can't be read, what the keeper
    /// saw, what still waits for a lot, and varieties without a name.
    fn problems(&self) -> Vec<Problem> {
        let mut problems = self.unreadable.clone();
        problems.extend(self.standing.problems());
        problems.extend(self.keeper.problems.iter().cloned());
        let mut left: Vec<&Fact> = self.waiting.values().flatten().collect();
        left.sort_by_key(|fact| fact.turn);
        let missing = |lot: &LotId| self.keeper.lot(*lot).is_none();
        for fact in left {
            let unknown = fact.body.lots_needed().into_iter().filter(missing);
            problems.extend(unknown.map(|lot| unknown_lot(lot, fact.noted.id)));
        }
        for Apart { entry, on, lot } in &self.apart {
            match self.keeper.lot(*lot).map(|lot| lot.began) {
                None => problems.push(unknown_lot(*lot, *entry)),
                Some(began) if *on < began => problems.push(Problem {
                    what: Disagreement::BeforeItBegan { lot: *lot, on: *on, began },
                    entries: vec![*entry],
                }),
                Some(_) => {}
            }
        }
        problems.extend(self.keeper.unnamed());
        problems.extend(self.keeper.late());
        problems
    }

    /// Writes into the book what is told at the end.
    pub(super) fn settle(&mut self) {
        self.keeper.book.problems = self.problems();
        self.keeper.book.varieties = self.keeper.cards();
        self.keeper.book.struck_out.clone_from(self.standing.struck());
    }

    /// Takes in one entry more, which comes behind all others, strikes nothing out and bears an id
    /// that no strike-out names.
    pub(super) fn push(&mut self, entry: &Entry) {
        let noted = Noted::of(entry);
        match entry.read_body() {
            Ok(body) => self.take_in(noted, body),
            Err(error) => self.unreadable.push(unreadable(noted, &error)),
        }
    }
}

fn unreadable(noted: Noted, error: &BodyError) -> Problem {
    let what = Disagreement::Unreadable { why: error.to_string() };
    Problem { what, entries: vec![noted.id] }
}

fn unknown_lot(lot: LotId, entry: EntryId) -> Problem {
    Problem { what: Disagreement::UnknownLot { lot }, entries: vec![entry] }
}

/// Whether an entry holds by itself, also where a lot that it names isn't there: a dividing session
/// and a field note change no count and wait for nothing.
pub(super) const fn stands_alone(body: &Body) -> bool {
    matches!(body, Body::BenchSession(_) | Body::FieldObservation(_))
}

/// Lots that an entry names and doesn't need: those of one that stands alone, and the lot that was
/// planted where clumps were lifted.
fn named_apart(body: &Body) -> Vec<LotId> {
    if stands_alone(body) { body.lots_needed() } else { body.planting_lot().into_iter().collect() }
}

impl Run {
    /// Takes in everything up to the end of a day.
    pub(super) fn until(&mut self, day: Day) {
        while let Some(next) = self.coming.pop_front_if(|next| next.on() <= day) {
            self.take_in(next);
        }
    }

    fn take_in(&mut self, next: Next) {
        match next {
            Next::Fact(noted, body) => self.fold.take_in(noted, body),
            Next::Unreadable(_, problem) => self.fold.unreadable.push(problem),
        }
    }

    /// The fold as it is, good for going on with what is later than `day`, up to which all was
    /// taken in.
    pub(super) fn paused_after(&self, day: Day) -> Fold {
        let standing = self.fold.standing.until(day);
        Fold { standing, ..self.fold.clone() }
    }

    /// The fold once everything is taken in, and its book written.
    pub(super) fn finish(mut self) -> Fold {
        while let Some(next) = self.coming.pop_front() {
            self.take_in(next);
        }
        self.fold.settle();
        self.fold
    }

    /// The book as far as it was taken in. What was struck out, and what can't be read, is told of
    /// the whole ledger.
    pub(super) fn into_book_so_far(mut self) -> Book {
        for next in self.coming {
            if let Next::Unreadable(_, problem) = next {
                self.fold.unreadable.push(problem);
            }
        }
        self.fold.settle();
        self.fold.keeper.book
    }
}
