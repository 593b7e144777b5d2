//! Survival curves without a model: what the looks themselves show, for the picture.
//!
//! ```text
//! kaplan_meier  losses known to the day
//! turnbull      losses known to lie between two looks
//! ```
//!
//! A forecast never comes from here. What may not enter: lots, calendars (time is a number).

mod kaplan_meier;
mod turnbull;

pub use kaplan_meier::{Ended, Followed, KaplanMeierStep, kaplan_meier, median};
pub use turnbull::{Between, Ends, TurnbullMass, turnbull};
