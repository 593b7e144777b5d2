//! The programs of a round, pure.
//!
//! ```text
//! pairwise   who has what I lack and lacks what I have
//! input answer error   a round as it is asked for and answered; compute: the JSON door
//! check      is an answer right? every rule, from the input alone
//! verify     what prices prove, in whole numbers; shares no code with the solver, nor does check
//! solve      prices, search, proof; watch: time, stopping and progress, from outside
//! instance duals ascent   the round by number; prices, and how they are sought
//! loops pooled   the two kinds of rounds
//! program    the one place that knows HiGHS
//! freeze     a network's offers and wants as a round, and an answer as proposals to farms
//! settle     a swap day of which some farms don't come
//! words      proposals, open wants and bounds as people read them
//! ```
//!
//! The only room that may link a solver. What may not enter: input or output, a clock, randomness,
//! a database, anything of HTTP.

// Places, counts and values are bounded by the input's reader (a table's length by `verify`), far within
// 32 bits; whole numbers that matter are summed in 64 or 128.
#![allow(clippy::cast_possible_truncation, clippy::cast_possible_wrap, clippy::cast_sign_loss)]

pub mod answer;
mod ascent;
pub mod check;
pub mod compute;
mod duals;
pub mod error;
pub mod freeze;
pub mod input;
mod instance;
mod loops;
pub mod pairwise;
mod pooled;
mod program;
pub mod settle;
pub mod solve;
pub mod verify;
pub mod watch;
pub mod words;

pub use pairwise::{Gives, Lack, Line, Match, Meets, Spare, Unstated, VarietyKey, Ways, pairwise};
