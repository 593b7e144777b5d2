//! The check of a whole book: is every chain whole, do the sums agree, what disagrees, what should
//! be looked at.
//!
//! ```text
//! chains   hashes and chains
//! due      lots not looked at lately, in walking order
//! ```
//!
//! What may not enter: files, layout. Whether a book that was folded from a snapshot is the one that
//! a replay gives is asked by whoever has both.

mod chains;
mod due;

pub use chains::{ChainFault, chain_faults};
pub use due::{Due, due, walking_order};

use std::collections::BTreeMap;

use serde::Serialize;

use super::book::{Book, Flow, Problem};
use super::describe::describe;
use super::entry::Entry;
use crate::words::{Day, EntryId, UnitKind, VarietyId};

/// The sums of one variety and unit kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct FlowLine {
    /// The variety.
    pub variety: VarietyId,
    /// What a unit is.
    pub unit: UnitKind,
    /// In, made, found, out, lost and in store.
    pub flow: Flow,
    /// Whether in + made + found = out + lost + in store, and the lots hold what is in store.
    pub sums: Sums,
}

/// Whether sums agree.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sums {
    /// They do.
    Agree,
    /// They don't: the book is not what the fold makes, so it is damaged.
    Differ,
}

/// Conservation, per variety and unit kind.
pub fn sums(book: &Book) -> Vec<FlowLine> {
    let mut held: BTreeMap<(VarietyId, UnitKind), i64> = BTreeMap::new();
    for lot in book.lots.values() {
        *held.entry((lot.variety, lot.unit)).or_default() += i64::from(lot.in_store);
    }
    let mut flows: BTreeMap<(VarietyId, UnitKind), Flow> = book.flows.clone();
    for kind in held.keys() {
        flows.entry(*kind).or_default();
    }
    flows
        .into_iter()
        .map(|((variety, unit), flow)| {
            let in_lots = held.get(&(variety, unit)).copied().unwrap_or_default();
            let agree = flow.agrees() && flow.in_store == in_lots;
            let sums = if agree { Sums::Agree } else { Sums::Differ };
            FlowLine { variety, unit, flow, sums }
        })
        .collect()
}

/// A problem with the entries concerned, in words.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ProblemInWords {
    /// What disagrees, and what to do about it.
    pub what: String,
    /// The entries concerned.
    pub entries: Vec<EntryInWords>,
}

/// An entry in words.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct EntryInWords {
    /// Which.
    pub entry: EntryId,
    /// The day; none if the entry isn't here.
    pub on: Option<Day>,
    /// What it says.
    pub says: String,
}

/// Problems with the entries that they name.
pub fn problems_in_words(book: &Book, entries: &[Entry]) -> Vec<ProblemInWords> {
    let by_id: BTreeMap<EntryId, &Entry> = if book.problems.is_empty() {
        BTreeMap::new()
    } else {
        entries.iter().map(|entry| (entry.id, entry)).collect()
    };
    let in_words = |id: &EntryId| {
        let found = by_id.get(id);
        EntryInWords {
            entry: *id,
            on: found.map(|entry| entry.on),
            says: found.map_or_else(
                || "an entry that isn't in this book".to_owned(),
                |entry| describe(book, entry),
            ),
        }
    };
    let problem = |problem: &Problem| ProblemInWords {
        what: problem.what.to_string(),
        entries: problem.entries.iter().map(in_words).collect(),
    };
    book.problems.iter().map(problem).collect()
}

#[cfg(test)]
mod tests;
