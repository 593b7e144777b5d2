//! `round-verify`: nobody has to trust the solver.
//!
//! Rebuilds everything from the input, holds the answer against the rules (`check`) and computes from
//! the stated prices alone, in exact whole numbers, a value that no answer can exceed. What may not
//! enter: any code of the solver; anything but whole numbers.
//!
//! ```text
//! contents   the best that one farm can pass to another, by the value of the parcel
//! bound      what all prices together prove
//! ```

mod bound;
mod contents;

use serde_json::{Value, json};
use spareloop_domain::compute::fields::Fields;

use crate::answer::{StatedAnswer, from_thousandths};
use crate::check::check;
use crate::error::RoundError;
use crate::input::RoundInput;

pub use bound::{MOST_PRICE, certified_thousandths, within_reach};

/// Reads `{"round": ..., "answer": ...}` and says what holds.
///
/// # Errors
/// A field that is wrong, or a price of an offer or a want below 0.
pub fn answer(fields: &Fields<'_>) -> Result<Value, RoundError> {
    fields.only(&["round", "answer"])?;
    let input = RoundInput::read(&fields.object("round")?)?;
    let stated = StatedAnswer::read(&fields.object("answer")?, &input)?;
    let bound = certified_thousandths(&input, &stated.prices)?;
    let certified = from_thousandths(bound);
    Ok(match check(&input, &stated.swaps) {
        Ok(objective) if objective == i128::from(stated.objective) => {
            json!({"feasible": true, "objective": stated.objective, "certified_bound": certified})
        }
        Ok(objective) => {
            let reason = format!("its moves come to {objective}, it says {}", stated.objective);
            json!({"feasible": false, "objective": whole(objective), "certified_bound": certified, "reason": reason})
        }
        Err(wrong) => {
            let reason = wrong.to_string();
            json!({"feasible": false, "objective": null, "certified_bound": certified, "reason": reason})
        }
    })
}

/// As a number that JSON readers take; counts and worths are bounded, so that it always fits.
fn whole(number: i128) -> Option<i64> {
    i64::try_from(number).ok()
}
