//! What a plan asks for: plants, how sure to be, and what is kept back.
//!
//! What may not enter: stock, and what becomes of it.

use serde::{Deserialize, Serialize};

use crate::chance::ROUNDING;

/// How sure to be that enough comes up: strictly between 0 and 1.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(try_from = "f64", into = "f64")]
pub struct ServiceLevel(f64);

/// A number that is no service level.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("how sure to be must lie strictly between 0 and 1 (got {0})")]
pub struct ServiceLevelError(pub f64);

impl ServiceLevel {
    /// Checks a number.
    pub fn new(level: f64) -> Result<Self, ServiceLevelError> {
        if level > 0.0 && level < 1.0 { Ok(Self(level)) } else { Err(ServiceLevelError(level)) }
    }

    /// The plain number.
    pub const fn get(self) -> f64 {
        self.0
    }

    pub(super) fn met_by(self, chance: f64) -> bool {
        chance + ROUNDING >= self.0
    }
}

impl Default for ServiceLevel {
    /// 9 springs in 10; common practice, no source.
    fn default() -> Self {
        Self(0.9)
    }
}

impl TryFrom<f64> for ServiceLevel {
    type Error = ServiceLevelError;
    fn try_from(level: f64) -> Result<Self, ServiceLevelError> {
        Self::new(level)
    }
}

impl From<ServiceLevel> for f64 {
    fn from(level: ServiceLevel) -> Self {
        level.0
    }
}

/// What a farm keeps back beyond its own need: the greater of a share, rounded up, and a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KeepBackRule {
    /// Percent of the plants wanted.
    pub percent: u32,
    /// Units at least.
    pub at_least: u32,
}

impl Default for KeepBackRule {
    /// 10 % and 3 units; common practice, no source.
    fn default() -> Self {
        Self { percent: 10, at_least: 3 }
    }
}

impl KeepBackRule {
    /// Units to keep back when so many plants are wanted.
    ///
    /// ```
    /// use spareloop_domain::forecast::KeepBackRule;
    /// assert_eq!(KeepBackRule::default().units(20), 3);
    /// assert_eq!(KeepBackRule::default().units(41), 5);
    /// ```
    pub fn units(self, plants_wanted: u32) -> u32 {
        let share = (u64::from(plants_wanted) * u64::from(self.percent)).div_ceil(100);
        u32::try_from(share).unwrap_or(u32::MAX).max(self.at_least)
    }
}

/// What a plan asks for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlanTerms {
    /// Plants wanted in the ground.
    pub plants_wanted: u64,
    /// How sure to be of them.
    pub service_level: ServiceLevel,
    /// Units kept back before anything is spare.
    pub keep_back: u64,
}

impl PlanTerms {
    /// The farm's rules applied to a number of plants.
    pub fn by_rule(plants_wanted: u32, level: ServiceLevel, keep_back: KeepBackRule) -> Self {
        Self {
            plants_wanted: u64::from(plants_wanted),
            service_level: level,
            keep_back: u64::from(keep_back.units(plants_wanted)),
        }
    }

    /// The default rules applied to a number of plants.
    pub fn wanting(plants_wanted: u32) -> Self {
        Self::by_rule(plants_wanted, ServiceLevel::default(), KeepBackRule::default())
    }
}
