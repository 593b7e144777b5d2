//! What survives the winter, and what is therefore spare or short.
//!
//! ```text
//! hazard     one lot's unknown loss rate, and how to average over it
//! posterior  what a lot's own checks say about its rate
//! survivors  units left on a day: expected, likely range, chances
//! together   survivors of lots that have something in common
//! telling    how much a look tonight would tell
//! emergence  how many of what is planted comes up
//! plan       what is wanted, how sure to be, what is kept back
//! spare      what can be given away, what is lacking
//! outlook    all of it for a stock book, by variety and unit kind
//! sentence   the one sentence that a person needs first
//! ```
//!
//! A unit survives `days` with chance exp(−λ·days); log λ of a lot is normal. All units of a lot
//! share one unknown λ, so they live and die together more than coins would. Only `outlook` knows of
//! a book and a calendar. What may not enter the others: entries, offers, the calendar (days are
//! counts there), and any cause of loss but decay in store.

mod emergence;
mod hazard;
pub mod outlook;
mod plan;
mod posterior;
mod sentence;
mod spare;
mod survivors;
mod telling;
mod together;

pub use emergence::{Emergence, EmergenceError, EmergenceRate};
pub use hazard::{LogHazard, LogHazardError, MAX_DAYS, SeenGroup};
pub use plan::{KeepBackRule, PlanTerms, ServiceLevel, ServiceLevelError};
pub use posterior::{Basis, FIRST_SEASON, LossRow, Posterior, posterior, updated};
pub use sentence::{
    Balance, PlanOutlook, StockOutlook, VarietyOutlook, lot_sentence, variety_sentence,
};
pub use spare::{Short, Spare, SpareQuestion, spare};
pub use survivors::{Survivors, survivors, survivors_under};
pub use telling::{LookTonight, Telling, telling};
pub use together::{LotInStore, survivors_of_all};

/// Why a forecast was not worked out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ForecastError {
    /// The exact sums would take minutes.
    #[error(
        "too many units, lots and days to reckon exactly in a few seconds; give fewer units, or put \
         units last seen on neighbouring days together"
    )]
    TooMuchWork,
}

/// The most multiplications that one answer may cost: a few seconds on one core.
const MOST_WORK: f64 = 4e10;

fn affordable(work: f64) -> Result<(), ForecastError> {
    if work <= MOST_WORK { Ok(()) } else { Err(ForecastError::TooMuchWork) }
}
