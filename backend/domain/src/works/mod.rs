//! What works here: one way of keeping stock against another, by what came through.
//!
//! ```text
//! compare   the difference, how likely it is, or why nothing can be said
//! sentence  all of it in words
//! ways      the ways that a book tells apart, and its looks by two of them
//! ```
//!
//! Two packings, two places, autumn or spring division, tools cleaned or not: each is an arm with
//! its own μ in the fit of [`crate::fit`], varieties and lots being random, so that an arm isn't
//! praised for the varieties it was given. What may not enter: a difference that the
//! data don't bear.

mod compare;
mod sentence;
mod ways;

pub use compare::{
    Arm, Better, Difference, MoreToSettle, NotBorne, OVER_DAYS, Rules, Verdict, compare,
};
pub use sentence::verdict_sentence;
pub use ways::{Way, arm, arms, looks};
