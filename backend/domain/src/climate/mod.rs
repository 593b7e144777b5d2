//! The air in store: how much water it holds and how thirsty it is.
//!
//! Saturation over water by FAO Irrigation and Drainage Paper 56, equation 11; below 0 °C over ice,
//! 0.6108·exp(21.875 T/(T + 265.5)) kPa (Murray 1967, from memory). Relative humidity refers to the
//! same saturation.
//!
//! ```text
//! (here)   water in the air at one moment
//! series   readings of one logger, and what they add up to
//! flags    what to mind: cold, warmth, dryness, water under film
//! weights  weight lost to dry air, from the farm's own weighings
//! found    where lots lay, and what their next look found
//! ```
//!
//! What may not enter: files of loggers; a link from dry air to weight lost that isn't the farm's own,
//! for no published coefficient is known.

mod flags;
mod found;
mod series;
mod weights;

pub use flags::{Frost, Moisture, Temperatures};
pub use found::{NextLook, Stay, Whereabouts, next_looks};
pub use series::{Gap, Point, Series, Spell, Sums, Thresholds};
pub use weights::{
    Calibration, FEWEST_INTERVALS, FEWEST_SAMPLES, Interval, Rate, Weighed, calibrate,
    deficit_between, intervals,
};

use serde::{Deserialize, Serialize};

/// A temperature in °C, from −100 to 100.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(try_from = "f64", into = "f64")]
pub struct Celsius(f64);

/// A relative humidity as a fraction, from 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct RelativeHumidity(f64);

/// Which reading is impossible.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ClimateError {
    /// Beyond what air in store can be.
    #[error("a temperature must be from -100 to 100 °C")]
    Temperature,
    /// Not a fraction.
    #[error("a relative humidity must be a fraction from 0 to 1 (85 % is 0.85)")]
    Humidity,
}

impl Celsius {
    /// Checks a temperature in °C.
    pub fn new(degrees: f64) -> Result<Self, ClimateError> {
        if (-100.0..=100.0).contains(&degrees) {
            Ok(Self(degrees))
        } else {
            Err(ClimateError::Temperature)
        }
    }

    /// Checks a temperature in °F.
    ///
    /// ```
    /// use spareloop_domain::climate::Celsius;
    /// assert_eq!(Celsius::from_fahrenheit(50.0)?.degrees(), 10.0);
    /// # Ok::<(), spareloop_domain::climate::ClimateError>(())
    /// ```
    pub fn from_fahrenheit(degrees: f64) -> Result<Self, ClimateError> {
        Self::new((degrees - 32.0) / 1.8)
    }

    /// A temperature in °F that is known to be in range.
    pub(crate) const fn known_fahrenheit(degrees: f64) -> Self {
        Self((degrees - 32.0) / 1.8)
    }

    /// The plain number, °C.
    pub const fn degrees(self) -> f64 {
        self.0
    }

    /// The same in °F.
    pub const fn fahrenheit(self) -> f64 {
        self.0 * 1.8 + 32.0
    }

    /// Saturation vapour pressure in kPa, over water, below 0 °C over ice.
    pub fn saturation_kpa(self) -> f64 {
        let (rise, offset) = if self.0 < 0.0 { (21.875, 265.5) } else { (17.27, 237.3) };
        0.6108 * (rise * self.0 / (self.0 + offset)).exp()
    }
}

impl TryFrom<f64> for Celsius {
    type Error = ClimateError;
    fn try_from(degrees: f64) -> Result<Self, ClimateError> {
        Self::new(degrees)
    }
}

impl From<Celsius> for f64 {
    fn from(temperature: Celsius) -> Self {
        temperature.0
    }
}

impl RelativeHumidity {
    /// Checks a fraction.
    pub fn new(fraction: f64) -> Result<Self, ClimateError> {
        if (0.0..=1.0).contains(&fraction) {
            Ok(Self(fraction))
        } else {
            Err(ClimateError::Humidity)
        }
    }

    /// The plain fraction.
    pub const fn fraction(self) -> f64 {
        self.0
    }
}

/// Water in the air, in kPa.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Vapour {
    /// What the air could hold.
    pub saturation_kpa: f64,
    /// What it holds.
    pub vapour_kpa: f64,
    /// What it lacks: the vapour-pressure deficit, at least 0.
    pub deficit_kpa: f64,
}

/// The water in air of a temperature and a relative humidity.
///
/// ```
/// use spareloop_domain::climate::{Celsius, RelativeHumidity, vapour};
/// let cellar = vapour(Celsius::new(7.2)?, RelativeHumidity::new(0.85)?);
/// assert!((cellar.deficit_kpa - 0.152).abs() < 5e-4);
/// # Ok::<(), spareloop_domain::climate::ClimateError>(())
/// ```
pub fn vapour(temperature: Celsius, humidity: RelativeHumidity) -> Vapour {
    let saturation_kpa = temperature.saturation_kpa();
    Vapour {
        saturation_kpa,
        vapour_kpa: saturation_kpa * humidity.0,
        deficit_kpa: saturation_kpa * (1.0 - humidity.0),
    }
}
