//! `sample-size`: how many to look at.

use serde_json::{Value, json};

use super::{ComputeError, Fields};
use crate::sampling::{Aim, MAX_LOT, SampleSize, SamplingError};
use crate::sampling::{sample_size, sample_size_of_large_lot};

pub(super) fn answer(input: &Fields<'_>) -> Result<Value, ComputeError> {
    input.only(&["lot_size", "level", "confidence", "efficacy"])?;
    let lot_size = input.whole_or_null("lot_size", MAX_LOT)?;
    let named = |error| ComputeError::at(input.name(field_of(error)), error);
    let aim =
        Aim::new(input.number("level")?, input.number("confidence")?, input.number("efficacy")?)
            .map_err(named)?;
    let size = match lot_size {
        Some(lot_size) => sample_size(lot_size, aim).map_err(named)?,
        None => sample_size_of_large_lot(aim),
    };
    Ok(match size {
        SampleSize::Attainable { affected_units, sample_size, confidence_reached } => json!({
            "attainable": true,
            "affected_units": affected_units,
            "sample_size": sample_size,
            "confidence_reached": confidence_reached,
        }),
        SampleSize::NotAttainable(why) => json!({"attainable": false, "reason": why.to_string()}),
    })
}

/// The field of `sample-size` and `detection` that an error is about.
pub(super) const fn field_of(error: SamplingError) -> &'static str {
    match error {
        SamplingError::Level => "level",
        SamplingError::Confidence => "confidence",
        SamplingError::Efficacy => "efficacy",
        SamplingError::LotSize => "lot_size",
        SamplingError::Affected => "affected_units",
        SamplingError::Sample | SamplingError::Found | SamplingError::NothingSeen => "sample_size",
    }
}
