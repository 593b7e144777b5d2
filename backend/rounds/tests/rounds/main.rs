//! Rounds: instances whose best answer is known, rules that every round keeps, settling.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod common;
mod cycle_packing;
mod known_rounds;
mod rules_of_a_round;
mod settlement;
