//! `detection`: the chance that a look would have found the trouble.

use serde_json::{Value, json};

use super::sample_size::field_of;
use super::{ComputeError, Fields};
use crate::sampling::{MAX_LOT, detection};

pub(super) fn answer(input: &Fields<'_>) -> Result<Value, ComputeError> {
    input.only(&["lot_size", "affected_units", "sample_size", "efficacy"])?;
    let chance = detection(
        input.whole("lot_size", MAX_LOT)?,
        input.whole("affected_units", MAX_LOT)?,
        input.whole("sample_size", MAX_LOT)?,
        input.number("efficacy")?,
    )
    .map_err(|error| ComputeError::at(input.name(field_of(error)), error))?;
    Ok(json!({ "chance": chance }))
}
