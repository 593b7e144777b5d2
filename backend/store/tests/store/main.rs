//! The store on both databases, one program for all of it: linking a program for each aggregate took
//! longer than running them.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[macro_use]
mod common;

mod acts_and_copies;
mod brought;
mod channels;
mod claims;
mod every_state_and_act;
mod exchange;
mod hand_overs;
mod ledger;
mod migrations;
mod movement;
mod never_promised_twice;
mod on_paper;
mod parcels;
mod passing_days;
mod payments;
mod people;
mod photos;
mod proposals;
mod questions;
mod statements;
mod turns;
mod walk_ups;
