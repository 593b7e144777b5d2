//! Between columns and the trade's types: ids, days, words and JSON are text, times are UTC without
//! a zone, counts are 64-bit integers. A row that can't be read is damage, never "not found".

use std::fmt::Display;
use std::str::FromStr;

use chrono::{DateTime, DurationRound, NaiveDateTime, TimeDelta, Utc};

use crate::StoreError;

/// Reads a text column.
pub(crate) fn read<T>(text: &str) -> Result<T, StoreError>
where
    T: FromStr,
    T::Err: Display,
{
    text.parse().map_err(|error: T::Err| StoreError::corrupt(error))
}

/// Reads a text column that may be empty.
pub(crate) fn read_some<T>(text: Option<&str>) -> Result<Option<T>, StoreError>
where
    T: FromStr,
    T::Err: Display,
{
    text.map(read).transpose()
}

/// Reads a number that can't be below 0.
pub(crate) fn unsigned(number: i64) -> Result<u64, StoreError> {
    u64::try_from(number).map_err(StoreError::corrupt)
}

/// A moment as the columns keep it: UTC, cut to microseconds, since PostgreSQL rounds beyond them.
pub(crate) fn moment(at: DateTime<Utc>) -> NaiveDateTime {
    at.duration_trunc(TimeDelta::microseconds(1)).unwrap_or(at).naive_utc()
}
