//! What the end-to-end tests share: the real binaries, started on loopback and stopped again.
//!
//! What may not enter: rules, SQL, anything that a user's program needs.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::missing_panics_doc)]

pub mod binaries;
pub mod crash;
pub mod damage;
pub mod database;
pub mod farm;
pub mod network;
pub mod sheets;
pub mod sinks;
pub mod tap;
