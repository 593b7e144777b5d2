//! The JSON door to the computations: one document in, one out.
//!
//! ```text
//! fields  reads a document strictly and names the field that is wrong
//! unrepeated  refuses a field said twice
//! error   what can be wrong with a document
//! others  one module a kind: read, ask the room that knows, write
//! ```
//!
//! Names, units and meanings are fixed, because others call this door. What may not enter: a
//! formula; those live in the rooms behind. Probabilities are fractions, days whole numbers,
//! temperatures °C, pressures kPa; nothing is rounded.

mod detection;
mod dilution;
mod error;
pub mod fields;
mod interval;
mod loop_values;
mod loss_fit;
mod loss_forecast;
mod sample_size;
mod spare;
mod unrepeated;
mod vapour;

pub use error::{ComputeError, Problem};

use fields::Fields;

/// Reads the fields of a document and answers with another.
type Door = fn(&Fields<'_>) -> Result<serde_json::Value, ComputeError>;

const KINDS: [(&str, Door); 9] = [
    ("sample-size", sample_size::answer),
    ("detection", detection::answer),
    ("interval", interval::answer),
    ("vapour", vapour::answer),
    ("dilution", dilution::answer),
    ("loss-fit", loss_fit::answer),
    ("loss-forecast", loss_forecast::answer),
    ("spare", spare::answer),
    ("loop-values", loop_values::answer),
];

/// Every kind that [`run`] knows, in the order that people are shown.
pub fn kinds() -> impl Iterator<Item = &'static str> {
    KINDS.into_iter().map(|(kind, _)| kind)
}

/// Computes `kind` of the JSON document `input`; the answer is a JSON document on one line.
///
/// ```
/// use spareloop_domain::compute::run;
/// let answer = run(
///     "detection",
///     r#"{"lot_size":60,"affected_units":60,"sample_size":1,"efficacy":1.0}"#,
/// )?;
/// assert_eq!(answer, r#"{"chance":1.0}"#);
/// let wrong = run("vapour", r#"{"temperature_c":7.2,"relative_humidity":85}"#).unwrap_err();
/// assert!(wrong.to_string().contains("relative_humidity"));
/// # Ok::<(), spareloop_domain::compute::ComputeError>(())
/// ```
pub fn run(kind: &str, input: &str) -> Result<String, ComputeError> {
    let Some((_, door)) = KINDS.iter().find(|(known, _)| *known == kind) else {
        return Err(ComputeError::unknown_kind(kind));
    };
    let document = fields::parse(input)?;
    let answer = door(&Fields::top(&document)?)?;
    Ok(answer.to_string())
}
