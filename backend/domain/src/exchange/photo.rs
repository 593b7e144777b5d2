//! Photos beside an offer, a hold or a claim: of what, and how many.
//!
//! What may not enter: the pictures themselves.

use crate::words::{ClaimId, HoldId, OfferId};

/// Most photos that a farm puts beside one thing.
pub const MOST_OF_A_THING: u32 = 4;
/// Most photos of a farm that are kept at a time; older ones are to be removed first.
pub const MOST_OF_A_FARM: u32 = 200;

/// What a photo stands beside.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PhotoOf {
    /// An offer: the lot, for the whole network to see.
    Offer(OfferId),
    /// A hold: what was handed over or how it arrived, for its two farms.
    Hold(HoldId),
    /// A claim: for its two farms and the coordinator. It stays on record.
    Claim(ClaimId),
}
