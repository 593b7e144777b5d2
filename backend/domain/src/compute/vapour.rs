//! `vapour`: the water in the air.

use serde_json::{Value, json};

use super::{ComputeError, Fields};
use crate::climate::{Celsius, RelativeHumidity, vapour};

pub(super) fn answer(input: &Fields<'_>) -> Result<Value, ComputeError> {
    input.only(&["temperature_c", "relative_humidity"])?;
    let temperature = Celsius::new(input.number("temperature_c")?)
        .map_err(|error| ComputeError::at(input.name("temperature_c"), error))?;
    let humidity = RelativeHumidity::new(input.number("relative_humidity")?)
        .map_err(|error| ComputeError::at(input.name("relative_humidity"), error))?;
    let air = vapour(temperature, humidity);
    Ok(json!({
        "saturation_kpa": air.saturation_kpa,
        "vapour_kpa": air.vapour_kpa,
        "deficit_kpa": air.deficit_kpa,
    }))
}
