//! `interval`: Wilson's and the exact interval of a share.

use serde_json::{Value, json};

use super::{ComputeError, Fields};
use crate::interval::{MAX_TRIALS, Share, ShareError};

pub(super) fn answer(input: &Fields<'_>) -> Result<Value, ComputeError> {
    input.only(&["successes", "trials", "confidence"])?;
    let share = Share::new(
        input.whole("successes", MAX_TRIALS)?,
        input.whole("trials", MAX_TRIALS)?,
        input.number("confidence")?,
    )
    .map_err(|error| ComputeError::at(input.name(field_of(error)), error))?;
    let (wilson, exact) = (share.wilson(), share.exact());
    Ok(json!({"wilson": [wilson.low, wilson.high], "exact": [exact.low, exact.high]}))
}

const fn field_of(error: ShareError) -> &'static str {
    match error {
        ShareError::Successes => "successes",
        ShareError::Trials => "trials",
        ShareError::Confidence => "confidence",
    }
}
