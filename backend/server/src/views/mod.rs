//! What the store keeps, as the interface tells it.
//!
//! Only shapes change here. What may not enter: queries, rules.

pub mod attest;
pub mod channels;
pub mod exchange;
mod people;
pub mod stock;
pub mod sync;

pub use people::{device, farm, farm_on_paper, invitation, me, network, person};
