//! A moment on a signer's clock.

use std::fmt;

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};

/// Whole seconds since 1970-01-01 UTC (the `NumericDate` of RFC 7519), up to the year 2199.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "i64", into = "i64")]
pub struct Second(i64);

/// A number that is no moment we keep books for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("{0} is not a moment from 1970 to 2199, in seconds")]
pub struct SecondError(i64);

impl Second {
    /// The last second of 2199.
    const LAST: i64 = 7_258_118_399;

    /// The same moment without its fraction; outside 1970 to 2199 the nearest end.
    pub fn of(moment: DateTime<Utc>) -> Self {
        Self(moment.timestamp().clamp(0, Self::LAST))
    }

    /// From milliseconds since 1970-01-01 UTC.
    pub fn of_millis(millis: u64) -> Self {
        Self(i64::try_from(millis / 1000).unwrap_or(Self::LAST).min(Self::LAST))
    }

    /// Seconds since 1970-01-01 UTC.
    pub const fn get(self) -> i64 {
        self.0
    }

    /// So many seconds later, held at the end of the range.
    #[must_use]
    pub fn plus(self, seconds: u32) -> Self {
        Self((self.0 + i64::from(seconds)).min(Self::LAST))
    }

    /// The same moment as a date and time.
    pub fn moment(self) -> DateTime<Utc> {
        // Every second of the range is one that chrono knows.
        DateTime::from_timestamp(self.0, 0).unwrap_or_default()
    }

    /// The day, in UTC.
    pub fn date(self) -> NaiveDate {
        self.moment().date_naive()
    }
}

impl TryFrom<i64> for Second {
    type Error = SecondError;
    fn try_from(seconds: i64) -> Result<Self, SecondError> {
        if (0..=Self::LAST).contains(&seconds) {
            Ok(Self(seconds))
        } else {
            Err(SecondError(seconds))
        }
    }
}

impl From<Second> for i64 {
    fn from(second: Second) -> Self {
        second.0
    }
}

impl fmt::Display for Second {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.moment().format("%-d %B %Y, %H:%M UTC").fmt(f)
    }
}
