//! The server as its callers see it: the whole app, over a real embedded database, in process.
//!
//! One binary, so that it is linked once. The clock is the test's own.

#![allow(clippy::unwrap_used, clippy::expect_used)]

mod browser;
mod channels;
mod claims;
mod description;
mod exchange;
mod farm;
mod idempotency;
mod keeping;
mod ledger;
mod matrix;
mod movement;
mod on_paper;
mod pages_doors;
mod pages_job;
mod parcels;
mod payments;
mod photos;
mod questions;
mod rounds;
mod sign_in;
mod statements;
mod tenancy;
mod walk_ups;
mod yard;
