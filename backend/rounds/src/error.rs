//! What can be wrong with a round's document, always with the field's name.

use spareloop_domain::compute::ComputeError;

/// Why nothing was solved or verified.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RoundError {
    /// The document isn't what it should be.
    #[error(transparent)]
    Document(#[from] ComputeError),
    /// A field is of the right form and yet wrong.
    #[error("{field}: {problem}; nothing was computed")]
    Field {
        /// Where it is, as `wants[3].accepts[1].variety`.
        field: String,
        /// What is wrong.
        problem: RoundProblem,
    },
    /// There is no such computation.
    #[error("there is no computation {kind:?} of rounds; known: {}", crate::compute::KINDS.join(", "))]
    UnknownKind {
        /// What was asked for.
        kind: String,
    },
}

/// What is wrong with a field of a round.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RoundProblem {
    /// An id was given before.
    #[error("{id:?} is there twice; every id once")]
    Twice {
        /// Which.
        id: String,
    },
    /// An id names nothing of the round.
    #[error("there is no {what} {id:?} in this round")]
    Unknown {
        /// What should have the id: a farm, an offer, a want.
        what: &'static str,
        /// The id.
        id: String,
    },
    /// A number that isn't in order.
    #[error("must be a number of at least {least} (got {got})")]
    Low {
        /// The least it may be.
        least: u32,
        /// What is there.
        got: f64,
    },
    /// Counts and values that together ask for more memory than a solver should take.
    #[error(
        "a parcel could be worth {tenths} tenths and all kinds of parcels {cells} table cells, more than \
         {most}; give smaller counts or coarser values"
    )]
    TooLarge {
        /// The most that one parcel can be worth.
        tenths: u64,
        /// What all tables would hold.
        cells: u64,
        /// What they may hold.
        most: u64,
    },
    /// A price that may not be below zero is.
    #[error("a price of an offer or a want is never below 0 (got {got})")]
    Negative {
        /// What is there.
        got: i64,
    },
    /// A price so large that sums could leave exact arithmetic.
    #[error("a price is from -{most} to {most} thousandths (got {got})")]
    Price {
        /// The most it may be.
        most: i64,
        /// What is there.
        got: i64,
    },
}

impl RoundError {
    pub(crate) fn at(field: impl Into<String>, problem: RoundProblem) -> Self {
        Self::Field { field: field.into(), problem }
    }
}
