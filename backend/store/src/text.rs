//! Between columns and the trade's types: ids, days, words and JSON are text, times are UTC without
//! a zone, counts are 64-bit integers. A row that can't be read is damage, never "not found".

use std::fmt::Display;
use std::str::FromStr;

use chrono::{DateTime, DurationRound, NaiveDateTime, TimeDelta, Utc};

use spareloop_domain::exchange::Moment;
use spareloop_domain::words::{Count, Day};

use crate::{Refused, StoreError};

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

/// Reads a count.
pub(crate) fn count(number: i64) -> Result<Count, StoreError> {
    Count::new(number).map_err(StoreError::corrupt)
}

/// Reads a number that can't be below 0.
pub(crate) fn unsigned(number: i64) -> Result<u64, StoreError> {
    u64::try_from(number).map_err(StoreError::corrupt)
}

/// A moment as the columns keep it: UTC, cut to microseconds, since PostgreSQL rounds beyond them.
pub(crate) fn moment(at: DateTime<Utc>) -> NaiveDateTime {
    at.duration_trunc(TimeDelta::microseconds(1)).unwrap_or(at).naive_utc()
}

/// A column's moment as the rules of an exchange take it.
pub(crate) const fn micros(at: NaiveDateTime) -> Moment {
    Moment(at.and_utc().timestamp_micros())
}

/// The calendar day of a moment, in UTC. The rules at the door allow a day more for other zones.
pub(crate) fn today(now: DateTime<Utc>) -> Result<Day, StoreError> {
    Day::new(now.date_naive()).map_err(StoreError::broken)
}

/// Refuses a free text that is too long, or that a database or a page can't hold.
pub(crate) fn free<'t>(text: &'t str, what: &'static str) -> Result<&'t str, StoreError> {
    let control = |letter: char| letter.is_control() && !matches!(letter, '\n' | '\r' | '\t');
    if text.chars().count() > 1_000 || text.chars().any(control) {
        return Err(StoreError::refuse(Refused::Text { what }));
    }
    Ok(text.trim())
}
