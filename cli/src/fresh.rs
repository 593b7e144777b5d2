//! What the pure rooms take as arguments: the wall clock, today, and randomness.

use std::time::{SystemTime, UNIX_EPOCH};

use spareloop_domain::words::{Day, DayError, uuid_v7};
use uuid::Uuid;

use crate::fault::Fault;

/// The time and new ids, as whatever must be repeatable takes them.
pub trait Fresh {
    /// Milliseconds since 1970-01-01 UTC by this machine's clock, however wrong it is.
    fn wall_millis(&mut self) -> u64;
    /// A new id (UUID version 7).
    fn uuid(&mut self) -> Result<Uuid, Fault>;
}

/// The machine's own clock and the operating system's randomness.
#[derive(Debug, Clone, Copy, Default)]
pub struct System;

impl Fresh for System {
    fn wall_millis(&mut self) -> u64 {
        wall_millis()
    }

    fn uuid(&mut self) -> Result<Uuid, Fault> {
        uuid()
    }
}

/// Milliseconds since 1970-01-01 UTC by this machine's clock, however wrong it is.
pub fn wall_millis() -> u64 {
    SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .map_or(0, |since| u64::try_from(since.as_millis()).unwrap_or(u64::MAX))
}

/// The calendar day in this machine's zone.
pub fn local_today() -> Result<Day, DayError> {
    Day::new(chrono::Local::now().date_naive())
}

/// Random bytes of the operating system.
pub fn random<const N: usize>() -> Result<[u8; N], Fault> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(|error| {
        Fault::failed(
            format!("This machine gives no random numbers: {error}."),
            "Nothing was written. Restart the machine and try again.",
        )
    })?;
    Ok(bytes)
}

/// A new id (UUID version 7).
pub fn uuid() -> Result<Uuid, Fault> {
    Ok(uuid_v7(wall_millis(), random()?))
}
