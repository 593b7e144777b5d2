//! Where stock lies and what it lies in.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::stock::{UnknownWord, plain, word};

/// A place in store, from the large to the small: `cellar / shelf 2 / tote 7`.
///
/// Parts are separated by `/`, trimmed, non-empty, at most 8 of at most 60 characters each.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Place(Vec<String>);

/// A text that names no place.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PlaceError {
    /// Nothing between two slashes.
    #[error("a place needs a name between its slashes (got {0:?})")]
    Empty(String),
    /// Too many parts or too long a part.
    #[error("a place has at most 8 parts of at most 60 characters (got {0:?})")]
    TooLong(String),
}

impl Place {
    /// The parts, from the large to the small.
    pub fn parts(&self) -> &[String] {
        &self.0
    }
}

impl FromStr for Place {
    type Err = PlaceError;
    fn from_str(text: &str) -> Result<Self, PlaceError> {
        let parts: Vec<String> = text.split('/').map(|part| part.trim().to_owned()).collect();
        if parts.iter().any(String::is_empty) {
            return Err(PlaceError::Empty(text.to_owned()));
        }
        if parts.len() > 8 || parts.iter().any(|part| part.chars().count() > 60) {
            return Err(PlaceError::TooLong(text.to_owned()));
        }
        Ok(Self(parts))
    }
}

impl TryFrom<String> for Place {
    type Error = PlaceError;
    fn try_from(text: String) -> Result<Self, PlaceError> {
        text.parse()
    }
}

impl From<Place> for String {
    fn from(place: Place) -> Self {
        place.to_string()
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0.join(" / "))
    }
}

word! {
    /// What stock is packed in.
    Packing {
        /// Wrapped in film.
        FilmWrap = "film-wrap", "film wrap";
        /// Vermiculite.
        Vermiculite = "vermiculite", "vermiculite";
        /// Peat.
        Peat = "peat", "peat";
        /// Wood shavings.
        Shavings = "shavings", "shavings";
        /// Sand.
        Sand = "sand", "sand";
        /// Soil left on or potting mix.
        Soil = "soil", "soil";
        /// Paper or cardboard.
        Paper = "paper", "paper";
        /// Nothing around it.
        Bare = "none", "none";
        /// Anything else.
        Other = "other", "other";
    }
}
