//! Entries as the fold takes them: each once, in order, read.
//!
//! What may not enter: strike-outs, what an entry does to the book.

use std::collections::HashMap;
use std::collections::hash_map::Entry as Slot;

use crate::ledger::body::{Body, BodyError};
use crate::ledger::entry::{Entry, Seq};
use crate::planted::{self, Bug};
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
    /// Its place in the device's chain.
    pub seq: Seq,
}

/// One readable entry in force.
#[derive(Debug, Clone)]
pub(super) struct Fact {
    /// Its envelope.
    pub noted: Noted,
    /// Its place in the fold's order, among all that were taken in.
    pub turn: u64,
    /// What it says.
    pub body: Body,
}

impl Noted {
    pub(super) const fn of(entry: &Entry) -> Self {
        Self { id: entry.id, device: entry.device, on: entry.on, seq: entry.seq }
    }
}

/// Sorts by day, clock, device, sequence, and takes each entry once.
///
/// The same id with the same content is one entry, also where a device re-appended it in another
/// chain. The same id with other content is two facts: both count, neither is dropped.
pub(super) fn in_order<'a>(entries: impl IntoIterator<Item = &'a Entry>) -> Vec<&'a Entry> {
    let mut sorted: Vec<&Entry> = entries.into_iter().collect();
    if planted::is(Bug::FoldByArrival) {
        return sorted;
    }
    sorted.sort_by(|a, b| {
        let order = a.order().cmp(&b.order());
        order.then_with(|| (a.id, a.hash).cmp(&(b.id, b.hash)))
    });
    let mut first: HashMap<EntryId, &Entry> = HashMap::with_capacity(sorted.len());
    // Twins are rare, so those behind the first of an id are kept apart.
    let mut others: HashMap<EntryId, Vec<&Entry>> = HashMap::new();
    sorted.retain(|entry| match first.entry(entry.id) {
        Slot::Vacant(slot) => {
            slot.insert(entry);
            true
        }
        Slot::Occupied(slot) => {
            let others = others.entry(entry.id).or_default();
            let known = std::iter::once(slot.get()).chain(others.iter());
            let new = !known.into_iter().any(|other| says_the_same(other, entry));
            if new {
                others.push(entry);
            }
            new
        }
    });
    sorted
}

fn says_the_same(one: &Entry, other: &Entry) -> bool {
    one.on == other.on && one.kind == other.kind && one.body == other.body
}

/// Every entry's body, in order.
pub(super) fn read(sorted: &[&Entry]) -> Vec<(Noted, Result<Body, BodyError>)> {
    sorted.iter().map(|entry| (Noted::of(entry), entry.read_body())).collect()
}

impl Body {
    /// Whether a strike-out of such an entry takes effect: not of what two farms did together by a
    /// hand-over, nor of a confirmation. A closing that was confirmed refuses it too. A strike-out of a strike-out brings back what that one struck out.
    pub const fn may_be_struck_out(&self) -> bool {
        match self {
            Self::ConfirmSeason(_) => false,
            Self::Send(body) => body.hand_over.is_none(),
            Self::Receive(body) => body.hand_over.is_none(),
            _ => true,
        }
    }
}
