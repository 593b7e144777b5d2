//! Calendar days.

use std::fmt;
use std::str::FromStr;

use chrono::{Datelike, Days, NaiveDate};
use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// A calendar day in the farm's own zone, from 1900-01-01 to 2199-12-31, written `YYYY-MM-DD`.
///
/// Forms that no person reads carry the number of the day since the year 1 (proleptic Gregorian).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Day(NaiveDate);

/// A text that is not a day we keep books for.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DayError {
    /// Not in the form `YYYY-MM-DD`, or no such day.
    #[error("{0:?} is not a day; write it as YYYY-MM-DD")]
    NotADay(String),
    /// Outside the years we accept.
    #[error("{0} is outside 1900 to 2199")]
    OutOfRange(NaiveDate),
}

impl Day {
    /// Wraps a date.
    pub fn new(date: NaiveDate) -> Result<Self, DayError> {
        if (1900..2200).contains(&date.year()) {
            Ok(Self(date))
        } else {
            Err(DayError::OutOfRange(date))
        }
    }

    /// The date inside.
    pub const fn date(self) -> NaiveDate {
        self.0
    }

    /// The year.
    pub fn year(self) -> i32 {
        self.0.year()
    }

    /// Days from `earlier` to this day; negative if `earlier` is later.
    pub fn days_since(self, earlier: Self) -> i64 {
        self.0.signed_duration_since(earlier.0).num_days()
    }

    /// The day `days` later, held at the end of the range.
    #[must_use]
    pub fn plus_days(self, days: u32) -> Self {
        let last = Self(NaiveDate::from_ymd_opt(2199, 12, 31).unwrap_or(self.0));
        match self.0.checked_add_days(Days::new(u64::from(days))) {
            Some(date) if date <= last.0 => Self(date),
            _ => last,
        }
    }

    /// As people say it: "10 May".
    pub fn spoken(self) -> String {
        self.0.format("%-d %B").to_string()
    }
}

impl FromStr for Day {
    type Err = DayError;
    fn from_str(text: &str) -> Result<Self, DayError> {
        let date = NaiveDate::parse_from_str(text.trim(), "%Y-%m-%d")
            .map_err(|_| DayError::NotADay(text.to_owned()))?;
        Self::new(date)
    }
}

impl Serialize for Day {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        if serializer.is_human_readable() {
            serializer.collect_str(self)
        } else {
            serializer.serialize_i32(self.0.num_days_from_ce())
        }
    }
}

impl<'de> Deserialize<'de> for Day {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        if deserializer.is_human_readable() {
            let text = String::deserialize(deserializer)?;
            return text.parse().map_err(D::Error::custom);
        }
        let number = i32::deserialize(deserializer)?;
        let date = NaiveDate::from_num_days_from_ce_opt(number)
            .ok_or_else(|| D::Error::custom("a day beyond the calendar"))?;
        Self::new(date).map_err(D::Error::custom)
    }
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.format("%Y-%m-%d").fmt(f)
    }
}
