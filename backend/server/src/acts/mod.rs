//! What can be done here, one module a subject: parse, authorise, one store call, answer.
//!
//! The handlers of the interface and of the pages call the same functions, so that a rule holds on
//! both. What may not enter: HTTP, HTML, SQL.

pub mod attest;
pub mod channels;
pub mod claims;
pub mod devices;
pub mod distances;
pub mod exchange;
pub mod holds;
pub mod ledger;
pub mod movement;
pub mod on_paper;
pub mod parcels;
pub mod payments;
pub mod people;
pub mod photos;
pub mod questions;
pub mod rounds;
pub mod sign_in;
pub mod stock;
pub mod turns;
pub mod values;
pub mod walk_ups;
pub mod web_sign_in;

use std::fmt::Display;
use std::str::FromStr;

use crate::error::ServerError;

/// Reads a field that a person typed; the problem names the field and says what is wrong.
pub(crate) fn field<T: FromStr<Err: Display>>(
    name: &'static str,
    text: &str,
) -> Result<T, ServerError> {
    text.parse().map_err(|error: T::Err| refused(name, error))
}

/// A field that is readable and breaks a rule.
pub(crate) fn refused(name: &'static str, why: impl Display) -> ServerError {
    ServerError::Field { name, why: why.to_string() }
}
