//! Channels by which a farm is told things, and the outbox of what is to be brought over them.
//!
//! ```text
//! row       a channel's columns and type
//! make      new channels, and what becomes of them: confirmed, changed, remade, ended
//! outbox    what is to be brought: asked for in the transaction of an act, taken on by one server,
//!           noted as brought or tried again
//! digest    weekly letters: when the next is due
//! ```
//!
//! Secrets are kept as hashes, or as numbers that give them only together with the server's own.
//! What may not enter: letters, calls, waiting; when to try again and which act a state allows
//! (`domain` says both).

mod digest;
mod make;
mod outbox;
mod row;

pub use digest::{ask_for_digests, next_digest};
pub use make::{
    Addition, MOST_CHANNELS, change, confirm, end_by_farm, end_by_reader, fetched, list, make, one,
    remake,
};
pub(crate) use outbox::ask_for_message;
pub use outbox::{
    Bringing, Dealt, Failure, Taken, delivered, failed, give_up_overdue, is_due, prune, standing,
    take,
};
pub use row::{Channel, EndedWhy, Fetched, Standing, Target};
