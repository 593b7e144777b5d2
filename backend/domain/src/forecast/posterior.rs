//! What a lot's own checks say about its loss rate, on top of the first-season guess.
//!
//! Of `inspected` units last seen alive `days` ago, lost ~ Binomial(inspected, 1 − exp(−λ·days)):
//! grouped proportional hazards (Prentice and Gloeckler, Biometrics 34 (1978) 57). The belief is
//! normal at the mode, its sd from the expected information. What may not enter: other lots; what is
//! learned from them is believed in [`crate::belief`].

pub use crate::ledger::book::LossRow;

use super::hazard::LogHazard;

/// The guess before any check: median 90 % alive after 180 days, 80 % range about 65–97 %.
///
/// log λ ~ Normal(−7.44, 1.1) per day; ours, after common practice, no source.
pub const FIRST_SEASON: LogHazard = LogHazard::known(-7.44, 1.1);

/// What a belief about a lot's loss rate rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Basis {
    /// The first-season guess and nothing else.
    PriorAlone,
    /// The first-season guess and the lot's own checks.
    PriorAndOwnChecks {
        /// Looks that told something.
        looks: u32,
        /// Units looked at, summed over the looks.
        inspected: u32,
        /// Lost to decay, summed over the looks.
        lost: u32,
    },
}

/// What is believed of a lot's loss rate, and why.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Posterior {
    /// log λ per day: mean and sd.
    pub hazard: LogHazard,
    /// What it rests on.
    pub basis: Basis,
}

impl Posterior {
    /// The mean of log λ, λ per day.
    pub const fn log_hazard_mean(&self) -> f64 {
        self.hazard.mean()
    }

    /// The standard deviation of log λ.
    pub const fn log_hazard_sd(&self) -> f64 {
        self.hazard.sd()
    }
}

/// A lot's belief from its own rows and [`FIRST_SEASON`].
///
/// Rows with nothing inspected or 0 days tell nothing and are left out; lost above inspected
/// counts as all lost.
///
/// ```
/// use spareloop_domain::forecast::{Basis, LossRow, posterior};
/// let guess = posterior(&[]);
/// assert_eq!(guess.basis, Basis::PriorAlone);
/// let looked = posterior(&[LossRow { days: 30, inspected: 100, lost: 0 }]);
/// assert!(looked.log_hazard_mean() < guess.log_hazard_mean());
/// assert!(looked.log_hazard_sd() < guess.log_hazard_sd());
/// ```
pub fn posterior(rows: &[LossRow]) -> Posterior {
    let telling = telling(rows);
    if telling.is_empty() {
        return Posterior { hazard: FIRST_SEASON, basis: Basis::PriorAlone };
    }
    let sum = |part: fn(&LossRow) -> u32| telling.iter().map(part).fold(0, u32::saturating_add);
    let basis = Basis::PriorAndOwnChecks {
        looks: u32::try_from(telling.len()).unwrap_or(u32::MAX),
        inspected: sum(|row| row.inspected),
        lost: sum(|row| row.lost),
    };
    Posterior { hazard: updated(FIRST_SEASON, &telling), basis }
}

/// A belief once rows of the lot are taken in.
///
/// ```
/// use spareloop_domain::forecast::{FIRST_SEASON, LossRow, updated};
/// let looked = updated(FIRST_SEASON, &[LossRow { days: 30, inspected: 100, lost: 40 }]);
/// assert!(looked.mean() > FIRST_SEASON.mean() && looked.sd() < FIRST_SEASON.sd());
/// ```
pub fn updated(before: LogHazard, rows: &[LossRow]) -> LogHazard {
    let rows = telling(rows);
    if rows.is_empty() || before.sd() <= 0.0 {
        return before;
    }
    let mean = mode(&rows, before);
    let sd = (precision(before) + information(&rows, mean)).sqrt().recip();
    LogHazard::known(mean, sd)
}

fn telling(rows: &[LossRow]) -> Vec<LossRow> {
    rows.iter()
        .filter(|row| row.inspected > 0 && row.days > 0)
        .map(|row| LossRow { lost: row.lost.min(row.inspected), ..*row })
        .collect()
}

const fn precision(before: LogHazard) -> f64 {
    1.0 / (before.sd() * before.sd())
}

/// The slope of the log posterior in log λ; it falls all the way, so that it has one root.
fn slope(rows: &[LossRow], log_hazard: f64, before: LogHazard) -> f64 {
    let own: f64 = rows
        .iter()
        .map(|row| {
            let risk = f64::from(row.days) * log_hazard.exp();
            f64::from(row.lost) * (risk / risk.exp_m1())
                - f64::from(row.inspected - row.lost) * risk
        })
        .sum();
    own - (log_hazard - before.mean()) * precision(before)
}

/// The expected information about log λ: Σ m Λ² e^−Λ/(1 − e^−Λ).
fn information(rows: &[LossRow], log_hazard: f64) -> f64 {
    rows.iter()
        .map(|row| {
            let risk = f64::from(row.days) * log_hazard.exp();
            f64::from(row.inspected) * risk * (risk / risk.exp_m1())
        })
        .sum()
}

/// Newton's steps with the expected information, held within a bracket that always halves at least
/// when a step would leave it.
fn mode(rows: &[LossRow], before: LogHazard) -> f64 {
    let (mut low, mut high) = (before.mean() - 40.0, before.mean() + 40.0);
    let mut at = before.mean();
    for _ in 0..200 {
        let slope = slope(rows, at, before);
        if slope > 0.0 {
            low = at;
        } else {
            high = at;
        }
        let step = slope / (information(rows, at) + precision(before));
        let next = at + step;
        let next = if next > low && next < high { next } else { f64::midpoint(low, high) };
        if (next - at).abs() <= 1e-13 * at.abs() {
            return next;
        }
        at = next;
    }
    at
}
