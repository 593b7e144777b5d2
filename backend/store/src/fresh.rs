//! New ids and secrets, the only randomness of this room.

use chrono::{DateTime, Utc};
use spareloop_domain::planted;
use spareloop_domain::words::uuid_v7;
use uuid::Uuid;

use crate::{OutageKind, StoreError};

/// Bytes from the operating system's generator.
pub fn bytes<const N: usize>() -> Result<[u8; N], StoreError> {
    if let Some(bytes) = planted::bytes() {
        return Ok(bytes);
    }
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes)
        .map_err(|error| StoreError::outage(OutageKind::NoRandomness, error))?;
    Ok(bytes)
}

/// A UUID version 7 of that moment.
pub fn uuid(now: DateTime<Utc>) -> Result<Uuid, StoreError> {
    Ok(uuid_v7(millis(now), bytes()?))
}

/// Milliseconds since 1970; nothing of ours happened before.
pub fn millis(now: DateTime<Utc>) -> u64 {
    u64::try_from(now.timestamp_millis()).unwrap_or(0)
}
