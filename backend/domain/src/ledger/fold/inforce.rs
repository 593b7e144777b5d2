//! Which entries count: each once, in the fold's order, without those that were struck out.
//!
//! What may not enter: what an entry does to the book.

use std::collections::{BTreeMap, BTreeSet};

use super::strikes::{Stroke, struck_out};
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
    found.strike_out(&sorted, &read);
    found.facts =
        read.into_iter().filter(|fact| !found.struck_out.contains(&fact.noted.id)).collect();
    found
}

fn says_the_same(one: &Entry, other: &Entry) -> bool {
    one.on == other.on && one.kind == other.kind && one.body == other.body
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

    /// Applies the strike-outs that hold, and says which of those meet nothing that they can
    /// strike.
    fn strike_out(&mut self, sorted: &[&Entry], facts: &[Fact]) {
        let mut strikable: BTreeSet<EntryId> = sorted.iter().map(|entry| entry.id).collect();
        for fact in facts.iter().filter(|fact| !fact.body.may_be_struck_out()) {
            strikable.remove(&fact.noted.id);
        }
        let made: BTreeMap<EntryId, _> =
            sorted.iter().map(|entry| (entry.id, (entry.at, entry.device, entry.seq))).collect();
        let strokes: Vec<Stroke<'_, _>> = facts
            .iter()
            .filter_map(|fact| match &fact.body {
                Body::Void(void) => Some((fact.noted.id, void.entry)),
                _ => None,
            })
            .filter_map(|(by, target)| Some(Stroke { by, target, made: made.get(&by)? }))
            .collect();
        self.struck_out = struck_out(&strokes, &strikable);
        let struck_out = &self.struck_out;
        self.problems
            .retain(|problem| !problem.entries.iter().any(|entry| struck_out.contains(entry)));
        let meets_nothing = |stroke: &&Stroke<'_, _>| {
            !struck_out.contains(&stroke.by)
                && (stroke.by == stroke.target || !strikable.contains(&stroke.target))
        };
        self.problems.extend(strokes.iter().filter(meets_nothing).map(|stroke| Problem {
            what: Disagreement::VoidOfNothing,
            entries: vec![stroke.by, stroke.target],
        }));
    }
}

impl Body {
    /// Whether a strike-out of such an entry takes effect: not of what two farms did together by a
    /// hand-over. A strike-out of a strike-out brings back what that one struck out.
    pub const fn may_be_struck_out(&self) -> bool {
        match self {
            Self::Send(body) => body.hand_over.is_none(),
            Self::Receive(body) => body.hand_over.is_none(),
            _ => true,
        }
    }
}
