//! The rules of spareloop, pure.
//!
//! Everything a grower's stock obeys lives here once, and both the server and the command line
//! call it: the trade's words as types ([`words`]), the farm's ledger and its fold ([`ledger`]),
//! what survives ([`forecast`], believed as [`belief`] says, and over many lots [`fit`], [`shrink`],
//! [`curve`], [`works`], [`calibration`]), what to look at ([`tonight`]) and what a look proves
//! ([`sampling`], [`interval`]), the air in store ([`climate`]), solutions at the bench
//! ([`disinfection`]), the states of an exchange ([`exchange`]), what a unit is fairly worth
//! ([`value`]), what farms state about lots over their signature ([`attest`]), by which channels a farm
//! is told things ([`telling`]) and the JSON door to the computations ([`compute`]). [`planted`] holds what the simulation of a sync may do to the rooms from within;
//! shipped builds have none of it.
//!
//! What may not enter: input or output, a clock, randomness (ids and times are arguments), async,
//! a database, anything of HTTP.

pub mod attest;
pub mod belief;
pub mod calibration;
pub mod chance;
pub mod climate;
mod climb;
pub mod compute;
pub mod curve;
pub mod dice;
pub mod disinfection;
pub mod exchange;
pub mod fit;
pub mod forecast;
pub mod interval;
pub mod ledger;
pub mod planted;
pub mod sampling;
pub mod settings;
pub mod shrink;
pub mod telling;
pub mod tonight;
pub mod value;
pub mod words;
pub mod works;
