//! What can be wrong with a document, always with the field's name.

use crate::climate::ClimateError;
use crate::disinfection::DilutionError;
use crate::fit::{LossDataError, LossFitError};
use crate::forecast::{EmergenceError, ForecastError, LogHazardError, ServiceLevelError};
use crate::interval::ShareError;
use crate::sampling::SamplingError;
use crate::value::{MarketError, MultiplicationError, NoDraws, SharesError, WorthError};
use crate::words::near_misses;

/// Why nothing was computed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ComputeError {
    /// There is no such computation.
    #[error("there is no computation {kind:?}{}; known: {}", did_you_mean(near), known.join(", "))]
    UnknownKind {
        /// What was asked for.
        kind: String,
        /// Kinds with a name like it.
        near: Vec<String>,
        /// All kinds.
        known: Vec<&'static str>,
    },
    /// The text is no JSON document.
    #[error("the input is not a JSON document{}: {reason}; nothing was computed", at_field(field.as_deref()))]
    NotJson {
        /// The last field named before the place where reading stopped.
        field: Option<String>,
        /// What the reader says, with line and column.
        reason: String,
    },
    /// The document is JSON, but not an object.
    #[error("the input must be one JSON object in braces; nothing was computed")]
    NotAnObject,
    /// A field is wrong.
    #[error("{field}: {problem}; nothing was computed")]
    Field {
        /// Where it is, as `lots[0].units[1].count`.
        field: String,
        /// What is wrong.
        problem: Problem,
    },
}

/// What is wrong with a field.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Problem {
    /// It isn't there.
    #[error("this field is missing")]
    Missing,
    /// It has no business there.
    #[error("there is no such field here{}", did_you_mean(near))]
    Unknown {
        /// Fields with a name like it.
        near: Vec<String>,
    },
    /// It is of another type.
    #[error("{wanted} is wanted here (got {got})")]
    Type {
        /// What should be there.
        wanted: &'static str,
        /// What is there.
        got: String,
    },
    /// It is a whole number, but too large or below 0.
    #[error("must be a whole number from 0 to {most} (got {got})")]
    Range {
        /// The most it may be.
        most: u64,
        /// What is there.
        got: String,
    },
    /// It is a whole number, but out of bounds.
    #[error("must be a whole number from {least} to {most} (got {got})")]
    Between {
        /// The least it may be.
        least: i64,
        /// The most it may be.
        most: i64,
        /// What is there.
        got: String,
    },
    /// A word that is none of those known.
    #[error("{got:?} is none of {known}{}", did_you_mean(near))]
    NoneOf {
        /// Those that are known.
        known: String,
        /// What is there.
        got: String,
        /// Known ones like it.
        near: Vec<String>,
    },
    /// The same word again.
    #[error("{said:?} is said twice")]
    Twice {
        /// Which.
        said: String,
    },
    /// An id that names nothing in the document.
    #[error("{id:?} is not among the varieties")]
    UnknownId {
        /// Which.
        id: String,
    },
    /// Looks that can't be.
    #[error(transparent)]
    Looks(#[from] LossDataError),
    /// Looks that can't be fitted.
    #[error(transparent)]
    Fit(#[from] LossFitError),
    /// Counts that are each in order and together too many.
    #[error("more than {most} units together")]
    TooMany {
        /// The most they may be.
        most: u32,
    },
    /// A sampling question's number.
    #[error(transparent)]
    Sampling(#[from] SamplingError),
    /// A share's number.
    #[error(transparent)]
    Share(#[from] ShareError),
    /// A reading.
    #[error(transparent)]
    Climate(#[from] ClimateError),
    /// A solution's number.
    #[error(transparent)]
    Dilution(#[from] DilutionError),
    /// A log hazard's number.
    #[error(transparent)]
    LogHazard(#[from] LogHazardError),
    /// An emergence rate's number.
    #[error(transparent)]
    Emergence(#[from] EmergenceError),
    /// A service level.
    #[error(transparent)]
    ServiceLevel(#[from] ServiceLevelError),
    /// What a plant gives.
    #[error(transparent)]
    Multiplication(#[from] MultiplicationError),
    /// How well a variety suits.
    #[error(transparent)]
    Worth(#[from] WorthError),
    /// Shares of a market.
    #[error(transparent)]
    Shares(#[from] SharesError),
    /// A market that can't be.
    #[error(transparent)]
    Market(#[from] MarketError),
    /// Values over nothing.
    #[error(transparent)]
    NoDraws(#[from] NoDraws),
    /// A question that is in order and too large.
    #[error(transparent)]
    Forecast(#[from] ForecastError),
}

impl Problem {
    /// A word that is none of those known, and the known ones that are like it.
    pub fn one_of(known: &[&str], got: &str) -> Self {
        let near = near_misses(got, known.iter().copied());
        Self::NoneOf { known: known.join(", "), got: got.to_owned(), near }
    }
}

impl ComputeError {
    /// Names the field that a problem is about.
    pub fn at(field: impl Into<String>, problem: impl Into<Problem>) -> Self {
        Self::Field { field: field.into(), problem: problem.into() }
    }

    pub(super) fn unknown_kind(kind: &str) -> Self {
        let known: Vec<_> = super::kinds().collect();
        let near = near_misses(kind, known.iter().copied());
        Self::UnknownKind { kind: kind.to_owned(), near, known }
    }
}

fn did_you_mean(near: &[String]) -> String {
    if near.is_empty() { String::new() } else { format!(", did you mean {}?", near.join(" or ")) }
}

fn at_field(field: Option<&str>) -> String {
    field.map(|name| format!(" (at or after {name:?})")).unwrap_or_default()
}
