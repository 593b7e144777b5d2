//! Survival curves without a model: what the looks themselves show, for the picture.
//!
//! ```text
//! kaplan_meier  losses known to the day
//! turnbull      losses known to lie between two looks
//! lots          the looks of a book's lots, for both
//! ```
//!
//! A forecast never comes from here. What may not enter: a model, and
//! calendars but in `lots` (time is a number).

mod kaplan_meier;
mod lots;
mod turnbull;

pub use kaplan_meier::{Ended, Followed, KaplanMeierStep, kaplan_meier, median};
pub use lots::Watched;
pub use turnbull::{Between, Ends, TurnbullMass, turnbull};
