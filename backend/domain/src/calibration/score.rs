//! What the forecasts of a winter are worth.
//!
//! The randomised probability integral transform (Czado, Gneiting and Held, Biometrics 65 (2009)
//! 1254) is uniform where a forecast of counts is right, so that 80 in 100 of its values lie within
//! \[0.1, 0.9\]; the continuous ranked probability score (Gneiting and Raftery, J. Am. Stat. Assoc.
//! 102 (2007) 359) is in units, smaller is better.

use crate::chance::{Distribution, Tail};
use crate::dice::Dice;
use crate::fit::{LossDataError, LossFit, LossFitError, fit, shared_sd};
use crate::forecast::{
    ForecastError, LogHazard, LogHazardError, LotInStore, SeenGroup, survivors_of_all,
    survivors_under,
};

use super::winter::{Drawn, Outcome, Trial, Winter, draw};

/// How often the random part of the PIT is drawn.
pub const DRAWS: u32 = 5;

/// What forecasts are worth, of lots or of variety totals.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scores {
    /// How many were forecast.
    pub forecasts: usize,
    /// The share of randomised PIT values within \[0.1, 0.9\], the mean over [`DRAWS`] draws of the
    /// random part; 0.8 where the forecast is right.
    pub within: f64,
    /// The same of the draw with the smallest share and of that with the largest.
    pub within_by_draw: (f64, f64),
    /// The share of outcomes within the likely range; whole numbers make it more than 0.8.
    pub covered: f64,
    /// The median width of the likely range, in units.
    pub width: f64,
    /// The mean score of the forecasts, in units; smaller is better.
    pub score: f64,
    /// The same of forecasts from the lot's own raw rate.
    pub score_raw: f64,
    /// The same of forecasts from the network's mean rate.
    pub score_network: f64,
}

/// A winter's report.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Report {
    /// What kind of winter.
    pub winter: Winter,
    /// Of lots.
    pub lots: Scores,
    /// Of varieties, all their lots together.
    pub varieties: Scores,
}

/// Why there is no report.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum CalibrationError {
    /// The invented looks can't be; a mistake of ours.
    #[error("the invented winter contradicts itself")]
    Looks,
    /// They can't be fitted.
    #[error(transparent)]
    Fit(#[from] LossFitError),
    /// The rates are out of range.
    #[error(transparent)]
    LogHazard(#[from] LogHazardError),
    /// Too large.
    #[error(transparent)]
    Forecast(#[from] ForecastError),
}

impl From<LossDataError> for CalibrationError {
    fn from(_: LossDataError) -> Self {
        Self::Looks
    }
}

/// Draws a winter, forecasts every lot and every variety, and holds them against their ends.
pub fn report(trial: Trial, winter: Winter) -> Result<Report, CalibrationError> {
    let drawn = draw(trial, winter)?;
    let fitted = fit(&drawn.data)?;
    let mut dice = Dice::new(trial.seed ^ 0x5EED);
    let lots = of_lots(&drawn, &fitted, &mut dice)?;
    let varieties = of_varieties(&drawn, &fitted, &mut dice)?;
    Ok(Report { winter, lots, varieties })
}

/// One forecast with what it is held against.
struct Held {
    ours: Distribution,
    raw: Distribution,
    network: Distribution,
    alive: u32,
}

impl Held {
    /// Whether one randomised PIT value lies in the middle eight tenths.
    fn is_within(&self, dice: &mut Dice) -> bool {
        let alive = self.alive as usize;
        let below = if alive == 0 { 0.0 } else { self.ours.at_most(alive - 1) };
        (0.1..=0.9).contains(&(below + dice.share() * self.ours.chance(alive)))
    }
}

fn of_lots(drawn: &Drawn, fitted: &LossFit, dice: &mut Dice) -> Result<Scores, CalibrationError> {
    let network = network_rate(drawn);
    let mut held = Vec::with_capacity(drawn.outcomes.len());
    for (outcome, hazard) in drawn.outcomes.iter().zip(&fitted.lots) {
        let groups = [SeenGroup { count: outcome.in_store, days: outcome.days }];
        let ours = survivors_under(&groups, LogHazard::new(hazard.mean, hazard.sd)?)?;
        held.push(Held {
            ours: ours.distribution,
            raw: at_rate(outcome, raw_rate(outcome)),
            network: at_rate(outcome, network),
            alive: outcome.alive,
        });
    }
    Ok(scores(&held, dice))
}

fn of_varieties(
    drawn: &Drawn,
    fitted: &LossFit,
    dice: &mut Dice,
) -> Result<Scores, CalibrationError> {
    let network = network_rate(drawn);
    let shared = shared_sd(&drawn.data, fitted, 0);
    let mut held = Vec::new();
    for level in 0..u32::try_from(shared.len()).unwrap_or(u32::MAX) {
        let of_variety = || {
            (0..drawn.outcomes.len())
                .filter(move |lot| drawn.data.levels(*lot)[0] == level)
                .map(|lot| (&drawn.outcomes[lot], fitted.lots[lot]))
        };
        let common = shared[level as usize];
        let mut lots = Vec::new();
        for (outcome, hazard) in of_variety() {
            let own = (hazard.sd.powi(2) - common.powi(2)).max(0.0).sqrt();
            lots.push(LotInStore {
                groups: vec![SeenGroup { count: outcome.in_store, days: outcome.days }],
                hazard: LogHazard::new(hazard.mean, own)?,
            });
        }
        let sum = |rate: fn(&Outcome, f64) -> f64| {
            of_variety().fold(Distribution::certain(0), |sum, (outcome, _)| {
                sum.convolve(&at_rate(outcome, rate(outcome, network)), Tail::Cut)
            })
        };
        held.push(Held {
            ours: survivors_of_all(&lots, common)?.distribution,
            raw: sum(|outcome, _| raw_rate(outcome)),
            network: sum(|_, network| network),
            alive: of_variety().map(|(outcome, _)| outcome.alive).sum(),
        });
    }
    Ok(scores(&held, dice))
}

fn raw_rate(outcome: &Outcome) -> f64 {
    f64::from(outcome.lost) / outcome.unit_days.max(1.0)
}

fn network_rate(drawn: &Drawn) -> f64 {
    let lost: f64 = drawn.outcomes.iter().map(|outcome| f64::from(outcome.lost)).sum();
    let days: f64 = drawn.outcomes.iter().map(|outcome| outcome.unit_days).sum();
    lost / days.max(1.0)
}

fn at_rate(outcome: &Outcome, rate: f64) -> Distribution {
    let risk = rate * f64::from(outcome.days);
    Distribution::binomial(outcome.in_store as usize, (-risk).exp(), -(-risk).exp_m1(), Tail::Cut)
}

fn scores(held: &[Held], dice: &mut Dice) -> Scores {
    let count = held.len().max(1) as f64;
    let share = |of: usize| of as f64 / count;
    let mean = |of: &dyn Fn(&Held) -> f64| held.iter().map(of).sum::<f64>() / count;
    let of_draw = |_| share(held.iter().filter(|one| one.is_within(dice)).count());
    let within: Vec<f64> = (0..DRAWS).map(of_draw).collect();
    let range = |one: &Held| (one.ours.quantile(0.1), one.ours.quantile(0.9));
    let covered = held.iter().filter(|one| {
        let (low, high) = range(one);
        (low..=high).contains(&(one.alive as usize))
    });
    let mut widths: Vec<usize> = held.iter().map(|one| range(one).1 - range(one).0).collect();
    widths.sort_unstable();
    Scores {
        forecasts: held.len(),
        within: within.iter().sum::<f64>() / f64::from(DRAWS),
        within_by_draw: (
            within.iter().copied().fold(f64::INFINITY, f64::min),
            within.iter().copied().fold(0.0, f64::max),
        ),
        covered: share(covered.count()),
        width: widths.get(widths.len() / 2).copied().unwrap_or(0) as f64,
        score: mean(&|one| ranked(&one.ours, one.alive)),
        score_raw: mean(&|one| ranked(&one.raw, one.alive)),
        score_network: mean(&|one| ranked(&one.network, one.alive)),
    }
}

/// The continuous ranked probability score of a count: Σ (F(k) − 1\[alive ≤ k\])².
fn ranked(forecast: &Distribution, alive: u32) -> f64 {
    let alive = alive as usize;
    let (mut below, mut sum) = (0.0, 0.0);
    let mut next = 0;
    for (k, chance) in forecast.iter() {
        // Where the forecast gives no chance, its sum stands still.
        for at in next..k {
            sum += square(below, at, alive);
        }
        below += chance;
        sum += square(below, k, alive);
        next = k + 1;
    }
    sum + alive.saturating_sub(next) as f64
}

fn square(below: f64, at: usize, alive: usize) -> f64 {
    let reached = if alive <= at { 1.0 } else { 0.0 };
    (below - reached) * (below - reached)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_score_of_a_sure_forecast_is_how_far_it_is_off() {
        assert!((ranked(&Distribution::certain(7), 4) - 3.0).abs() < 1e-12);
        assert!((ranked(&Distribution::certain(4), 7) - 3.0).abs() < 1e-12);
        assert!(ranked(&Distribution::certain(5), 5).abs() < 1e-12);
        // Half on 0, half on 1, and 1 came: (1/2)².
        let coin = Distribution::binomial(1, 0.5, 0.5, Tail::Full);
        assert!((ranked(&coin, 1) - 0.25).abs() < 1e-12);
    }
}
