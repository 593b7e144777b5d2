//! The farm's append-only ledger: what an entry is, what kinds there are, and the fold that makes
//! the stock book of them.
//!
//! ```text
//! body     what happened, one struct a kind
//! entry    the envelope: ids, sequence, clock, hash chain
//! clock    the hybrid logical clock that orders entries whatever the wall clocks say
//! book     what the fold answers: lots, varieties, plans, flows, problems
//! fold     entries -> book, the same whatever the order of arrival
//! draft    the rules at the door, before an entry is written
//! describe an entry in words
//! history  what an offer shows of its lot
//! review   the check of a whole book
//! season   closed seasons and their accounts
//! redo     what redo brings back
//! undo     what undoing an entry means
//! sync     what to send and what to fetch, as a plan of two summaries
//! ```
//!
//! What may not enter: where entries are kept or how they travel. The fold runs on the device and
//! on the server, from the same code.

pub mod body;
pub mod book;
mod clock;
pub mod describe;
pub mod draft;
mod entry;
#[cfg(test)]
pub(crate) mod example;
mod fold;
#[cfg(any(test, feature = "generate"))]
pub mod generate;
pub mod history;
mod mentions;
pub mod redo;
mod refusal;
pub mod review;
pub mod season;
pub mod sync;
pub mod undo;

pub use body::Body;
pub use book::Book;
pub use clock::{Clock, Stamp};
pub use entry::{Draft, Entry, EntryError, Hash, Seq};
pub use fold::{
    Cover, Folded, Folding, Kept, OutOfOrder, Sealed, Snapshot, SnapshotError, fold, fold_until,
    superseded,
};
pub use refusal::Refusal;
