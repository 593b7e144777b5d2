//! Counts of units.

use std::fmt;
use std::iter::Sum;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// A count of units of one kind, from 0 to 1,000,000.
///
/// The ceiling is far above any small farm and far below anything that could overflow, so that a
/// slip of the finger ("400000000") is refused at the door.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
#[serde(try_from = "i64", into = "i64")]
pub struct Count(u32);

/// A number that is not a count of stock.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CountError {
    /// Below nothing.
    #[error("a count can't be below 0 (got {0})")]
    Negative(i64),
    /// Beyond what a small farm holds.
    #[error("a count can't be above 1,000,000 (got {0})")]
    Huge(i64),
    /// Not a whole number at all.
    #[error("{0:?} is not a whole number")]
    NotANumber(String),
}

impl Count {
    /// Nothing.
    pub const ZERO: Self = Self(0);
    /// The most that one count may be.
    pub const MAX: u32 = 1_000_000;

    /// Checks a number of any size.
    pub fn new(number: i64) -> Result<Self, CountError> {
        match u32::try_from(number) {
            Ok(n) if n <= Self::MAX => Ok(Self(n)),
            Err(_) if number < 0 => Err(CountError::Negative(number)),
            Ok(_) | Err(_) => Err(CountError::Huge(number)),
        }
    }

    /// The plain number.
    pub const fn get(self) -> u32 {
        self.0
    }

    /// Whether there is none.
    pub const fn is_zero(self) -> bool {
        self.0 == 0
    }

    /// The sum, held at the ceiling.
    #[must_use]
    pub fn plus(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0).min(Self::MAX))
    }

    /// The difference, held at nothing.
    #[must_use]
    pub const fn less(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }

    /// Its share of `part` of a `whole`, rounded down; nothing of no whole.
    ///
    /// ```
    /// use spareloop_domain::words::Count;
    /// assert_eq!(Count::from(6).share_of(Count::from(5), Count::from(9)), Count::from(3));
    /// ```
    #[must_use]
    pub fn share_of(self, part: Self, whole: Self) -> Self {
        let product = u64::from(self.0) * u64::from(part.0);
        let share = product.checked_div(u64::from(whole.0)).unwrap_or(0);
        Self(u32::try_from(share).unwrap_or(Self::MAX).min(Self::MAX))
    }
}

impl TryFrom<i64> for Count {
    type Error = CountError;
    fn try_from(number: i64) -> Result<Self, CountError> {
        Self::new(number)
    }
}

impl From<Count> for i64 {
    fn from(count: Count) -> Self {
        Self::from(count.0)
    }
}

impl From<u16> for Count {
    fn from(number: u16) -> Self {
        Self(u32::from(number))
    }
}

impl FromStr for Count {
    type Err = CountError;
    fn from_str(text: &str) -> Result<Self, CountError> {
        let number: i64 =
            text.trim().parse().map_err(|_| CountError::NotANumber(text.to_owned()))?;
        Self::new(number)
    }
}

impl fmt::Display for Count {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl Sum for Count {
    fn sum<I: Iterator<Item = Self>>(iter: I) -> Self {
        iter.fold(Self::ZERO, Self::plus)
    }
}
