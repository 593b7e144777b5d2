//! Which entries count: each once, in the fold's order, without those that were struck out.
//!
//! What may not enter: what an entry does to the book.

use std::collections::{BTreeMap, BTreeSet};

use crate::ledger::body::Body;
use crate::ledger::book::{Disagreement, Problem};
use crate::ledger::entry::Entry;
use crate::words::{Day, DeviceId, EntryId};

/// Who noted something and when it happened.
#[derive(Debug, Clone, Copy)]
pub(super) struct Noted {
    /// The entry.
    pub id: EntryId,
    /// The device.
    pub device: DeviceId,
    /// The day it happened.
    pub on: Day,
}

/// One readable entry in force.
#[derive(Debug)]
pub(super) struct Fact {
    /// Its envelope.
    pub noted: Noted,
    /// What it says.
    pub body: Body,
}

/// What the fold goes through.
#[derive(Debug, Default)]
pub(super) struct InForce {
    /// In the fold's order.
    pub facts: Vec<Fact>,
    /// What was struck out.
    pub struck_out: BTreeSet<EntryId>,
    /// Strike-outs of nothing and bodies that can't be read.
    pub problems: Vec<Problem>,
}

/// Sorts, takes each entry once and strikes out what is struck out.
///
/// The same id with the same content is one entry, also where a device re-appended it in another
/// chain. The same id with other content is two facts: both count, neither is dropped.
pub(super) fn in_force<'a>(entries: impl IntoIterator<Item = &'a Entry>) -> InForce {
    let mut sorted: Vec<&Entry> = entries.into_iter().collect();
    sorted.sort_by_key(|entry| (entry.order(), entry.id, entry.hash));
    let mut seen: BTreeMap<EntryId, Vec<&Entry>> = BTreeMap::new();
    sorted.retain(|entry| {
        let same = seen.entry(entry.id).or_default();
        let new = !same.iter().any(|other| says_the_same(other, entry));
        if new {
            same.push(entry);
        }
        new
    });

    let mut found = InForce::default();
    let read: Vec<Fact> = sorted.iter().filter_map(|entry| found.read(entry)).collect();
    let strikable: BTreeMap<EntryId, Strikable> =
        sorted.iter().map(|entry| (entry.id, Strikable::Yes)).collect();
    found.strike_out(&read, strikable);
    found.facts =
        read.into_iter().filter(|fact| !found.struck_out.contains(&fact.noted.id)).collect();
    let struck_out = &found.struck_out;
    found.problems.retain(|problem| {
        !problem.entries.iter().any(|entry| struck_out.contains(entry))
            || problem.what == Disagreement::VoidOfNothing
    });
    found
}

fn says_the_same(one: &Entry, other: &Entry) -> bool {
    one.on == other.on && one.kind == other.kind && one.body == other.body
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Strikable {
    Yes,
    No,
}

impl InForce {
    fn read(&mut self, entry: &Entry) -> Option<Fact> {
        let noted = Noted { id: entry.id, device: entry.device, on: entry.on };
        match entry.read_body() {
            Ok(body) => Some(Fact { noted, body }),
            Err(error) => {
                let what = Disagreement::Unreadable { why: error.to_string() };
                self.problems.push(Problem { what, entries: vec![entry.id] });
                None
            }
        }
    }

    fn strike_out(&mut self, facts: &[Fact], mut strikable: BTreeMap<EntryId, Strikable>) {
        for fact in facts.iter().filter(|fact| !fact.body.may_be_struck_out()) {
            strikable.insert(fact.noted.id, Strikable::No);
        }
        for fact in facts {
            let Body::Void(void) = &fact.body else { continue };
            if strikable.get(&void.entry) == Some(&Strikable::Yes) {
                self.struck_out.insert(void.entry);
            } else {
                let entries = vec![fact.noted.id, void.entry];
                self.problems.push(Problem { what: Disagreement::VoidOfNothing, entries });
            }
        }
    }
}

impl Body {
    /// Whether a strike-out of such an entry takes effect: not of a strike-out, nor of what two
    /// farms did together by a hand-over.
    pub const fn may_be_struck_out(&self) -> bool {
        match self {
            Self::Void(_) => false,
            Self::Send(body) => body.hand_over.is_none(),
            Self::Receive(body) => body.hand_over.is_none(),
            _ => true,
        }
    }
}
