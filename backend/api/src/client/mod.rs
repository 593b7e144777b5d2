//! The typed client: one method an operation, over blocking HTTP.
//!
//! It knows addresses, headers, time-outs and how a problem is read. What may not enter: where tokens
//! are kept, what to do when the server is away, printing.

mod attest;
mod call;
mod channels;
mod claims;
mod distances;
mod exchange;
mod movement;
mod people;
mod photos;
mod questions;
mod rounds;
mod sync;

pub use call::{ActKey, CallError, Client, Token};
