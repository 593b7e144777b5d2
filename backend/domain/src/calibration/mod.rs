//! Whether forecasts hold what they promise: winters are invented, forecast from their checks, and
//! held against how they ended.
//!
//! ```text
//! winter  an invented winter, drawn from the model or from one that breaks it
//! score   what the forecasts of a winter are worth
//! ```
//!
//! A seed decides everything. What may not enter: a farm's book.

mod score;
mod winter;

pub use score::{DRAWS, Report, Scores, report};
pub use winter::{Trial, Winter};
