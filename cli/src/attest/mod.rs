//! What this device signs with, and what farms of the network stated.
//!
//! ```text
//! own       the secret halves of the farm's keys that were made on this device: a file of their own
//! shelf     keys and statements of the whole network, kept so that anybody's word can be checked
//!           offline; a file beside the book, which holds no secret and can be fetched again
//! exchange  what is new goes to the server and comes from it, as part of a sync
//! ```
//!
//! Statements stand beside the ledger, not in it: a signed text proves itself. What may not enter:
//! the rules by which a statement holds (`domain::attest` has them).

mod exchange;
pub mod own;
pub mod shelf;

pub use exchange::exchange;
