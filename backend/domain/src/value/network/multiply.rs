//! What a plant gives for the next planting: emergence × sound divisions a clump × what lasts in
//! store, each drawn from a variety's few records towards the network's many.
//!
//! Emergence is beta-binomial, divisions gamma-Poisson ([`crate::shrink`]). Losses in store are
//! gamma-Poisson in days that a unit lay there: with λ ~ Gamma(shape, rate), the share that lasts t
//! days is the mean of exp(−λt), (rate / (rate + t))^shape. That is the grouped model of the forecast
//! averaged over a variety's lots; a lot's own forecast knows more. What may not enter: offers.

use serde::{Deserialize, Serialize};

use super::records::VarietyRecord;
use crate::forecast::{EmergenceRate, FIRST_SEASON};
use crate::shrink::{ShareRecord, YieldRecord, share_prior, yield_prior};
use crate::value::{Multiplication, MultiplicationError};
use crate::works::OVER_DAYS;

/// Before any record: 4 sound divisions from a clump, as sure as after 2 clumps (ours, no source).
const FIRST_DIVISIONS: Prior = Prior { first: 8.0, second: 2.0 };

/// The two numbers of a prior: alpha and beta, or shape and rate.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Prior {
    /// Alpha, or the shape.
    pub first: f64,
    /// Beta, or the rate.
    pub second: f64,
}

/// What stands behind a variety's few records.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Priors {
    /// The share that comes up: Beta(first, second).
    pub emergence: Prior,
    /// Sound divisions a clump: Gamma(first, second).
    pub divisions: Prior,
    /// Losses a day in store: Gamma(first, second).
    pub losses: Prior,
}

impl Default for Priors {
    /// The first-season guesses; that of losses has the mean and the spread of the forecast's.
    fn default() -> Self {
        let emergence = EmergenceRate::default();
        let variance = FIRST_SEASON.sd().powi(2);
        let shape = 1.0 / variance.exp_m1();
        let mean = (FIRST_SEASON.mean() + variance / 2.0).exp();
        Self {
            emergence: Prior { first: emergence.alpha(), second: emergence.beta() },
            divisions: FIRST_DIVISIONS,
            losses: Prior { first: shape, second: shape / mean },
        }
    }
}

/// One of the three, with the record that it was drawn from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Rate {
    /// Came up; sound divisions; lost in store.
    pub many: u32,
    /// Planted; clumps; days that a unit lay in store.
    pub of: u32,
    /// The share that comes up; divisions a clump; the share that lasts 180 days.
    pub rate: f64,
}

/// What a plant of a variety gives, and why.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Multiplying {
    /// What comes up.
    pub emergence: Rate,
    /// What a clump gives.
    pub divisions: Rate,
    /// What lasts 180 days in store.
    pub lasting: Rate,
}

impl Multiplying {
    /// The product.
    pub fn multiplication(&self) -> Result<Multiplication, MultiplicationError> {
        Multiplication::new(self.emergence.rate * self.divisions.rate * self.lasting.rate)
    }
}

impl Priors {
    /// Under which all varieties' records together are most likely; a first-season guess where
    /// there are too few.
    pub fn of(records: &[VarietyRecord]) -> Self {
        let first = Self::default();
        let emergence: Vec<ShareRecord> = records.iter().map(|one| one.emergence).collect();
        let gamma = |of: fn(&VarietyRecord) -> YieldRecord, first: Prior| {
            let records: Vec<YieldRecord> = records.iter().map(of).collect();
            yield_prior(&records)
                .map_or(first, |prior| Prior { first: prior.shape, second: prior.rate })
        };
        Self {
            emergence: share_prior(&emergence)
                .map_or(first.emergence, |prior| Prior { first: prior.alpha, second: prior.beta }),
            divisions: gamma(|one| one.divisions, first.divisions),
            losses: gamma(|one| one.losses, first.losses),
        }
    }

    /// What a plant of a variety with these records gives.
    ///
    /// ```
    /// use spareloop_domain::value::network::{Priors, VarietyRecord};
    /// let nothing_noted = Priors::default().drawn(&VarietyRecord::default());
    /// assert_eq!(nothing_noted.emergence.rate, 0.9);
    /// assert_eq!(nothing_noted.divisions.rate, 4.0);
    /// assert!(nothing_noted.lasting.rate > 0.8 && nothing_noted.lasting.rate < 0.9);
    /// ```
    pub fn drawn(&self, record: &VarietyRecord) -> Multiplying {
        let VarietyRecord { emergence, divisions, losses } = *record;
        let came_up = self.emergence.first + f64::from(emergence.many);
        let planted = self.emergence.first + self.emergence.second + f64::from(emergence.of);
        let from = |prior: Prior, record: YieldRecord| {
            (prior.first + f64::from(record.came), prior.second + f64::from(record.from))
        };
        let (sound, clumps) = from(self.divisions, divisions);
        let (lost, days) = from(self.losses, losses);
        Multiplying {
            emergence: Rate { many: emergence.many, of: emergence.of, rate: came_up / planted },
            divisions: Rate { many: divisions.came, of: divisions.from, rate: sound / clumps },
            lasting: Rate {
                many: losses.came,
                of: losses.from,
                rate: (-lost * (OVER_DAYS / days).ln_1p()).exp(),
            },
        }
    }
}
