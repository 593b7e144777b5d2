//! `climate vapour`: the water in air at one moment.

use clap::Args;
use serde_json::json;
use spareloop_domain::climate::{Celsius, ClimateError, RelativeHumidity, vapour};

use crate::book::error_sentence;
use crate::fault::Fault;
use crate::printer::Answer;

/// Asks for vapour pressures.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Vapour {
    /// Temperature in °C.
    #[arg(long, required_unless_present = "fahrenheit", conflicts_with = "fahrenheit")]
    celsius: Option<f64>,
    /// Temperature in °F.
    #[arg(long)]
    fahrenheit: Option<f64>,
    /// Relative humidity in percent.
    #[arg(long, value_name = "PERCENT")]
    humidity: f64,
}

/// Runs it.
pub(super) fn run(it: &Vapour) -> Result<Answer, Fault> {
    let air = read(it).map_err(|error| {
        Fault::refused(
            error_sentence(&error.to_string()),
            "Nothing was computed. Give °C or °F, and humidity in percent.",
        )
    })?;
    let (temperature, humidity) = air;
    let vapour = vapour(temperature, humidity);
    let text = format!(
        "At {:.1} °C ({:.1} °F) and {:.0} % the air lacks {:.3} kPa of vapour (saturation {:.3} kPa, there {:.3} kPa).",
        temperature.degrees(),
        temperature.fahrenheit(),
        humidity.fraction() * 100.0,
        vapour.deficit_kpa,
        vapour.saturation_kpa,
        vapour.vapour_kpa
    );
    let data = json!({
        "temperature_c": temperature.degrees(),
        "saturation_kpa": vapour.saturation_kpa,
        "vapour_kpa": vapour.vapour_kpa,
        "deficit_kpa": vapour.deficit_kpa,
    });
    Ok(Answer::new("vapour", text, data))
}

fn read(it: &Vapour) -> Result<(Celsius, RelativeHumidity), ClimateError> {
    let temperature = match (it.celsius, it.fahrenheit) {
        (Some(degrees), _) => Celsius::new(degrees)?,
        // One of the two is required, so a missing one reads as a number that is refused.
        (None, degrees) => Celsius::from_fahrenheit(degrees.unwrap_or(f64::NAN))?,
    };
    Ok((temperature, RelativeHumidity::new(it.humidity / 100.0)?))
}
