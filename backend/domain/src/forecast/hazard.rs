//! One lot's unknown loss rate, and how to average over it.
//!
//! What may not enter: where the rate's mean and spread come from.

use crate::chance::{Distribution, NormalGrid, Tail};

/// Units of a lot that were last seen alive on the same day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SeenGroup {
    /// How many units.
    pub count: u32,
    /// Days from that look to the day forecast.
    pub days: u32,
}

/// The longest forecast, in days: a hundred years, so that a slip of the finger is refused.
pub const MAX_DAYS: u32 = 36_500;

/// What is believed of a lot's log λ, λ being the chance of loss per day: a normal distribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LogHazard {
    mean: f64,
    sd: f64,
}

/// Which number of a log hazard is impossible.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum LogHazardError {
    /// Not a number, or one that no store has.
    #[error("the mean of the log hazard must be a number from -1000 to 1000")]
    Mean,
    /// Not a number, below 0, or absurd.
    #[error("the sd of the log hazard must be a number from 0 to 20")]
    Sd,
}

impl LogHazard {
    /// Checks the mean (per day, natural logarithm, −1000 to 1000) and the sd (0 to 20).
    pub fn new(mean: f64, sd: f64) -> Result<Self, LogHazardError> {
        if !(-1000.0..=1000.0).contains(&mean) {
            return Err(LogHazardError::Mean);
        }
        if !(0.0..=20.0).contains(&sd) {
            return Err(LogHazardError::Sd);
        }
        Ok(Self { mean, sd })
    }

    /// For numbers that are known to be in range.
    pub(super) const fn known(mean: f64, sd: f64) -> Self {
        Self { mean, sd }
    }

    /// The mean of log λ, λ per day.
    pub const fn mean(self) -> f64 {
        self.mean
    }

    /// The standard deviation of log λ.
    pub const fn sd(self) -> f64 {
        self.sd
    }

    /// The same belief after something shared is known to add `shift`.
    pub(super) fn shifted(self, shift: f64) -> Self {
        Self { mean: self.mean + shift, sd: self.sd }
    }

    /// The same belief with another, independent spread on top.
    pub(super) fn widened(self, sd: f64) -> Self {
        Self { mean: self.mean, sd: self.sd.hypot(sd) }
    }

    /// Values of log λ with their weights, fine enough for the survivors of `units` units.
    pub(super) fn grid(self, units: u32) -> NormalGrid {
        // One unit tells at most 0.648 about log λ (the top of Λ²/(e^Λ − 1)), so `units` of them
        // can't make the sharpest chance narrower than this.
        grid_for(self.sd, MOST_INFORMATION * f64::from(units))
    }

    /// Units expected to survive.
    pub(super) fn expected(self, groups: &[SeenGroup]) -> f64 {
        // Folded from 0, because the sum of no floats is -0.
        groups.iter().fold(0.0, |sum, g| sum + f64::from(g.count) * self.survival(g.days))
    }

    /// The chance, over all that is unknown, that one unit lives `days` more days.
    fn survival(self, days: u32) -> f64 {
        let grid = self.grid(1);
        grid.nodes.iter().map(|(z, w)| w * alive(self.mean + self.sd * z, days).0).sum()
    }
}

/// The top of Λ²/(e^Λ − 1): what one unit can tell about log λ at most.
pub(super) const MOST_INFORMATION: f64 = 0.648;

/// Nodes for averaging over a normal of standard deviation `sd` what is as sharp as `information`.
///
/// 0.6 of the sharpest width leaves an error of exp(−2π²/0.36) ≈ 10⁻²⁴; the chance of survival,
/// exp(−e^x), bends on the scale of x itself, which asks for 0.3 of it.
pub(super) fn grid_for(sd: f64, information: f64) -> NormalGrid {
    if sd == 0.0 {
        return NormalGrid::point();
    }
    NormalGrid::new(step(sd, information))
}

/// Nodes that [`grid_for`] would give, without making them.
pub(super) fn grid_size(sd: f64, information: f64) -> f64 {
    if sd == 0.0 { 1.0 } else { 2.0 * NormalGrid::REACH / step(sd, information) + 1.0 }
}

fn step(sd: f64, information: f64) -> f64 {
    let sharpest = 1.0 / (1.0 + sd * sd * information).sqrt();
    (0.6 * sharpest).min(0.3 / sd).min(0.4)
}

/// The chances that a unit lives or is lost within `days`.
fn alive(log_hazard: f64, days: u32) -> (f64, f64) {
    if days == 0 {
        return (1.0, 0.0);
    }
    let risk = f64::from(days) * log_hazard.exp();
    ((-risk).exp(), -(-risk).exp_m1())
}

/// Survivors of groups that share one unknown rate.
pub(super) fn mixed(groups: &[SeenGroup], hazard: LogHazard, tail: Tail) -> Distribution {
    let groups = by_days(groups);
    let total: u32 = groups.iter().map(|group| group.count).sum();
    let mut chances = vec![0.0; total as usize + 1];
    for (z, weight) in hazard.grid(total).nodes {
        known_rate(&groups, hazard.mean + hazard.sd * z, tail).add_to(&mut chances, weight);
    }
    Distribution::from_chances(chances)
}

/// Survivors of groups that share one unknown rate, by how far something known shifts it.
///
/// Every shift averages over the same even grid of log rates, at which the chances are reckoned once:
/// the trapezoid rule is as exact wherever its grid begins.
pub(super) enum Shifting<'a> {
    /// The chances on the grid.
    Grid { hazard: LogHazard, step: f64, first: f64, tables: Vec<Distribution>, total: usize },
    /// A grid that would not be worth its memory, or none because nothing is unknown.
    Each { groups: &'a [SeenGroup], hazard: LogHazard },
}

/// Tables and units beyond which each shift is reckoned by itself.
const MOST_TABLES: f64 = 5e3;
const MOST_TABLED: u32 = 2_000;

impl<'a> Shifting<'a> {
    /// For shifts of at most `furthest`, up or down.
    pub(super) fn new(groups: &'a [SeenGroup], hazard: LogHazard, furthest: f64) -> Self {
        let total: u32 = groups.iter().map(|group| group.count).sum();
        let step = hazard.sd * step(hazard.sd, MOST_INFORMATION * f64::from(total));
        let reach = NormalGrid::REACH * hazard.sd + furthest;
        let count = (2.0 * reach / step).floor() + 1.0;
        // Where the step is 0, there is no such number.
        if count.is_nan() || count > MOST_TABLES || total > MOST_TABLED {
            return Self::Each { groups, hazard };
        }
        let groups = by_days(groups);
        let first = hazard.mean - reach;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // at most MOST_TABLES
        let tables = (0..count as usize)
            .map(|at| known_rate(&groups, first + step * at as f64, Tail::Cut))
            .collect();
        Self::Grid { hazard, step, first, tables, total: total as usize }
    }

    /// Survivors after the shift.
    pub(super) fn by(&self, shift: f64) -> Distribution {
        let (hazard, step, first, tables, total) = match self {
            Self::Each { groups, hazard } => {
                return mixed(groups, hazard.shifted(shift), Tail::Cut);
            }
            Self::Grid { hazard, step, first, tables, total } => {
                (hazard, step, first, tables, total)
            }
        };
        let middle = (hazard.mean + shift - first) / step;
        let half = NormalGrid::REACH * hazard.sd / step;
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // at most MOST_TABLES
        let (low, high) = ((middle - half).ceil().max(0.0) as usize, (middle + half) as usize);
        let mut chances = vec![0.0; total + 1];
        for (at, table) in tables.iter().enumerate().take(high + 1).skip(low) {
            let off = (at as f64 - middle) * step / hazard.sd;
            table.add_to(&mut chances, (-0.5 * off * off).exp());
        }
        // Weights are made to sum to 1 along with the chances.
        Distribution::from_chances(chances)
    }
}

/// Survivors when the rate is known: the groups are independent.
fn known_rate(groups: &[SeenGroup], log_hazard: f64, tail: Tail) -> Distribution {
    let each = |group: &SeenGroup| {
        let (p, q) = alive(log_hazard, group.days);
        Distribution::binomial(group.count as usize, p, q, tail)
    };
    let Some((first, others)) = groups.split_first() else {
        return Distribution::certain(0);
    };
    others.iter().fold(each(first), |sum, group| sum.convolve(&each(group), tail))
}

/// Groups of the same day are one group; empty ones are none. Smallest first.
fn by_days(groups: &[SeenGroup]) -> Vec<SeenGroup> {
    let mut counts = std::collections::BTreeMap::new();
    for group in groups.iter().filter(|group| group.count > 0) {
        *counts.entry(group.days).or_insert(0) += group.count;
    }
    let mut merged: Vec<_> =
        counts.into_iter().map(|(days, count)| SeenGroup { count, days }).collect();
    merged.sort_by_key(|group| group.count);
    merged
}

/// Multiplications that [`mixed`] costs, within a small factor.
pub(super) fn work(groups: &[SeenGroup], hazard: LogHazard, tail: Tail) -> f64 {
    let groups = by_days(groups);
    let total: f64 = groups.iter().map(|group| f64::from(group.count)).sum();
    // A binomial of n spreads over at most √n/2 either way of its mean.
    let width = |n: f64| (tail.reach() * n.sqrt() + 2.0).min(n + 1.0);
    let (mut per_node, mut sum) = (width(total), 0.0);
    for group in &groups {
        let n = f64::from(group.count);
        per_node += 4.0 * width(n) + if sum > 0.0 { width(sum) * width(n) } else { 0.0 };
        sum += n;
    }
    per_node * grid_size(hazard.sd, MOST_INFORMATION * total)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    #[test]
    fn a_shifted_grid_is_as_exact_as_one_of_its_own() {
        for (sd, count) in [(0.0, 40), (0.02, 40), (0.5, 100), (1.1, 40), (4.0, 60), (0.4, 3000)] {
            let groups = [SeenGroup { count, days: 150 }, SeenGroup { count: 7, days: 90 }];
            let hazard = LogHazard::new(-6.0, sd).unwrap();
            let shifting = Shifting::new(&groups, hazard, 5.0);
            for shift in [-5.0, -0.37, 0.0, 0.011, 2.5, 5.0] {
                let (got, own) =
                    (shifting.by(shift), mixed(&groups, hazard.shifted(shift), Tail::Cut));
                for k in 0..=count as usize + 7 {
                    let off = (got.chance(k) - own.chance(k)).abs();
                    assert!(off < 1e-12, "{sd} {count} {shift} {k}: off by {off}");
                }
            }
        }
    }

    #[test]
    fn twice_as_many_nodes_change_no_chance() {
        for (sd, count) in [(0.05, 400), (0.5, 100), (1.1, 40), (1.1, 2000), (4.0, 60), (20.0, 9)] {
            for mean in [-12.0, -7.0, -5.0, -2.0] {
                let (information, groups) =
                    (MOST_INFORMATION * f64::from(count), [SeenGroup { count, days: 150 }]);
                let coarse = mixed(&groups, LogHazard::new(mean, sd).unwrap(), Tail::Full);
                let mut fine = vec![0.0; count as usize + 1];
                for (z, weight) in NormalGrid::new(step(sd, information) / 2.0).nodes {
                    known_rate(&groups, mean + sd * z, Tail::Full).add_to(&mut fine, weight);
                }
                for (k, chance) in fine.into_iter().enumerate() {
                    let off = (coarse.chance(k) - chance).abs();
                    assert!(off < 1e-12, "{sd} {count} {mean} {k}: off by {off}");
                }
            }
        }
    }
}
