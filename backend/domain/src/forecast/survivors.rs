//! Units of a lot that are left on a day.
//!
//! What may not enter: several lots at once (they are only independent once what they share is
//! known: see [`super::survivors_of_all`]), and whether what survives comes up.

use super::hazard::{self, LogHazard, SeenGroup};
use super::{ForecastError, Posterior, affordable};
use crate::chance::{Distribution, Tail};

/// Survivors of a lot: what people are told and the chances behind it.
#[derive(Debug, Clone, PartialEq)]
pub struct Survivors {
    /// Units expected.
    pub mean: f64,
    /// 1 in 10 winters leaves this many or fewer.
    pub p10: u32,
    /// The middle.
    pub p50: u32,
    /// 9 in 10 winters leave this many or fewer.
    pub p90: u32,
    /// The chance of every number of survivors.
    pub distribution: Distribution,
}

/// Survivors of a lot whose rate is believed as `posterior` says.
///
/// ```
/// use spareloop_domain::forecast::{SeenGroup, posterior, survivors};
/// let left = survivors(&[SeenGroup { count: 40, days: 180 }], &posterior(&[]))?;
/// assert!(left.p10 < left.p50 && left.p50 <= left.p90 && left.p90 <= 40);
/// # Ok::<(), spareloop_domain::forecast::ForecastError>(())
/// ```
pub fn survivors(groups: &[SeenGroup], posterior: &Posterior) -> Result<Survivors, ForecastError> {
    survivors_under(groups, posterior.hazard)
}

/// Survivors of units that share one unknown rate, believed as `hazard` says.
pub fn survivors_under(
    groups: &[SeenGroup],
    hazard: LogHazard,
) -> Result<Survivors, ForecastError> {
    affordable(hazard::work(groups, hazard, Tail::Full))?;
    let distribution = hazard::mixed(groups, hazard, Tail::Full);
    Ok(Survivors::with_mean(hazard.expected(groups), distribution))
}

impl Survivors {
    /// Reads the quantiles off. The mean is asked for because it is known more exactly on its own.
    pub(super) fn with_mean(mean: f64, distribution: Distribution) -> Self {
        // A number of survivors is at most a sum of counts that is a u32.
        let quantile = |level| u32::try_from(distribution.quantile(level)).unwrap_or(u32::MAX);
        let (p10, p50, p90) = (quantile(0.1), quantile(0.5), quantile(0.9));
        Self { mean, p10, p50, p90, distribution }
    }
}
