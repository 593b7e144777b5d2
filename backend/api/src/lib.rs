//! What goes over HTTP between a farm's client and the network's server.
//!
//! Requests, responses and problems, one module a subject, versioned under `/api/v1`; behind the
//! feature `client`, the typed client. What may not enter: rules (they live in `domain`), SQL,
//! handlers. A field's unit is in its name or its doc.

pub mod access;
pub mod attest;
pub mod channels;
pub mod claims;
#[cfg(feature = "client")]
pub mod client;
pub mod distances;
pub mod exchange;
pub mod movement;
pub mod parcels;
pub mod payments;
pub mod people;
pub mod photos;
pub mod problem;
pub mod questions;
pub mod rounds;
pub mod stock;
pub mod sync;
pub mod values;

/// Where the versioned interface lives.
pub const BASE: &str = "/api/v1";
