//! The programs of a round, pure.
//!
//! ```text
//! pairwise   who has what I lack and lacks what I have
//! ```
//!
//! The only room that may link a solver. What may not enter: input or output, a clock, randomness,
//! a database, anything of HTTP.

pub mod pairwise;

pub use pairwise::{Lack, Line, Match, Meets, Spare, VarietyKey, pairwise};
