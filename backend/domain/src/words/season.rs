//! Seasons: from one lift to the next.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// One cycle from lift to lift, named by the year in which what was stored is planted: the season
/// 2026 began with the lift of autumn 2025 and ends before the lift of autumn 2026.
///
/// ```
/// use spareloop_domain::words::Season;
/// let season: Season = "2026".parse()?;
/// assert_eq!(season.next().to_string(), "2027");
/// assert!("26".parse::<Season>().is_err());
/// # Ok::<(), spareloop_domain::words::SeasonError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "u16", into = "u16")]
pub struct Season(u16);

/// A text or number that names no season.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0:?} is not a season; give the year of its summer, as 2026")]
pub struct SeasonError(String);

impl Season {
    /// The year of its summer, from 1900 to 2199.
    pub const fn year(self) -> u16 {
        self.0
    }

    /// The season behind it.
    #[must_use]
    pub const fn next(self) -> Self {
        Self(if self.0 < 2199 { self.0 + 1 } else { self.0 })
    }
}

impl TryFrom<u16> for Season {
    type Error = SeasonError;
    fn try_from(year: u16) -> Result<Self, SeasonError> {
        if (1900..2200).contains(&year) {
            Ok(Self(year))
        } else {
            Err(SeasonError(year.to_string()))
        }
    }
}

impl From<Season> for u16 {
    fn from(season: Season) -> Self {
        season.0
    }
}

impl FromStr for Season {
    type Err = SeasonError;
    fn from_str(text: &str) -> Result<Self, SeasonError> {
        let year: Option<u16> = text.trim().parse().ok();
        year.and_then(|year| year.try_into().ok()).ok_or_else(|| SeasonError(text.to_owned()))
    }
}

impl fmt::Display for Season {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}
