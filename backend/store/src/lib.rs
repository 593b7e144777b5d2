//! Where the server keeps things: SQLite in one file, or PostgreSQL.
//!
//! ```text
//! store       open, read, write, once: transactions and pools; together: one commit for many on SQLite
//! people      the set-up link, people, networks, invitations, joining
//! sign_ins    families of refresh tokens; web_sessions: the pages' cookies; devices
//! ledger      entries of the farms: append, page, the house device's chain
//! network_summaries   what a farm is told of what the others saw, and its lots' beliefs with it
//! check       the whole database read through; copying, copies, cluster: what copies of it need
//! attest      keys for signing and signed statements, as one feed of a network
//! offers wants holds parcels hand_overs claims owed messages   the exchange
//! channels      by which a farm is told things; the outbox of what is to be brought over them
//! rounds      rounds, frozen, solved by one server at a time; their timetable
//! proposals   what rounds propose: answers, holds made at once, swap days settled
//! turns       the line for an offer: what comes free is held for the first in it
//! whereabouts where farms roughly are, as they say themselves
//! movement    where farms are, and what the coordinator asks for between regions
//! limits      how far from even a farm may get, and how each stands
//! ```
//!
//! Every function of an aggregate takes a [`Tx`], so that several make one transaction; every
//! query carries the id of the caller's farm or network, so that tenancy is in the query. One body
//! of SQL serves both databases. A row is locked by writing it (`UPDATE ... RETURNING`), which both
//! databases understand, always in the order proposals, farms, offers, holds, wants, networks.
//!
//! What may not enter: HTTP, passwords and tokens in the clear (only their hashes), a clock (the
//! time is an argument), rules of the trade (they are called, in `domain`).

pub mod attest;
mod books;
pub mod channels;
mod check;
pub mod claims;
pub mod cluster;
mod connection;
pub mod copies;
mod copying;
pub mod cut_rules;
pub mod devices;
mod error;
pub mod fresh;
pub mod hand_overs;
pub mod holds;
mod kept;
pub mod ledger;
pub mod limits;
mod mark;
pub mod market;
pub mod messages;
mod migrations;
pub mod movement;
mod names;
pub mod network_summaries;
pub mod offers;
mod once;
pub mod owed;
pub mod parcels;
pub mod payments;
pub mod people;
pub mod photos;
pub mod planted;
mod promises;
pub mod proposals;
pub mod questions;
mod refused;
pub mod rounds;
mod schema;
mod secret;
pub mod sign_ins;
mod store;
mod text;
mod together;
pub mod turns;
mod url;
pub mod walk_ups;
pub mod wants;
pub mod web_sessions;
pub mod whereabouts;

pub use books::farm_book;
pub use check::{Checked, check_copy, everything as check_everything};
pub use error::{CodeFor, Conflict, Missing, Outage, OutageKind, StoreError, Taken};
pub use names::{Login, NameError, Named, ShownName};
pub use network_summaries::farm_beliefs;
pub use once::{ActKey, IdempotencyKey, KeyError, Once, prune_acts};
pub use refused::Refused;
pub use secret::SecretHash;
pub use store::{Store, Tx};
pub use url::{DatabaseUrl, ForPrograms, UrlError};
