//! How much a look tonight would tell: by how much it lessens, on average, what is uncertain about
//! the survivors at planting.
//!
//! S are the survivors at planting, L those found lost tonight among the units looked at. The
//! variance of S now is E\[Var(S | L)\] + Var(E\[S | L\]); the second part is what the look takes away
//! on average (law of total variance; the value of sample information in squared units). Given λ, L
//! is a sum of binomials and everyone who is alive tonight lives to planting with exp(−λ·days), so
//! both parts are exact sums over the belief's grid. Decay is taken to be seen where it is looked
//! at. What may not enter: which lots there are, and what else speaks for a look.

use super::hazard::{LogHazard, SeenGroup};
use crate::chance::{Distribution, Tail};

/// What is uncertain of a lot's survivors at planting, and how much of it a look takes away.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Telling {
    /// The variance of the survivors as things stand, in units².
    pub variance_now: f64,
    /// The part of it that the look takes away on average, from 0 to `variance_now`.
    pub variance_told: f64,
}

impl Telling {
    /// The standard deviation of the survivors now, in units.
    pub fn sd_now(&self) -> f64 {
        self.variance_now.sqrt()
    }

    /// The standard deviation that is left after the look, on average (root of the mean variance).
    pub fn sd_after(&self) -> f64 {
        (self.variance_now - self.variance_told).max(0.0).sqrt()
    }
}

/// The units of a lot, by days from when they were last seen alive to tonight.
#[derive(Debug, Clone, PartialEq)]
pub struct LookTonight {
    /// Those that would be looked at.
    pub looked_at: Vec<SeenGroup>,
    /// The others.
    pub left_alone: Vec<SeenGroup>,
    /// Days from tonight to planting.
    pub days_to_planting: u32,
}

/// What a look tonight would tell of a lot whose rate is believed as `hazard` says.
///
/// ```
/// use spareloop_domain::forecast::{FIRST_SEASON, LookTonight, SeenGroup, telling};
/// let look = |count| LookTonight {
///     looked_at: vec![SeenGroup { count, days: 30 }],
///     left_alone: vec![SeenGroup { count: 40 - count, days: 30 }],
///     days_to_planting: 120,
/// };
/// let (few, all) = (telling(&look(5), FIRST_SEASON), telling(&look(40), FIRST_SEASON));
/// assert!((few.variance_now - all.variance_now).abs() < 1e-9);
/// assert!(few.variance_told < all.variance_told && all.variance_told < all.variance_now);
/// ```
pub fn telling(look: &LookTonight, hazard: LogHazard) -> Telling {
    let count = |groups: &[SeenGroup]| groups.iter().map(|group| group.count).sum::<u32>();
    let seen = count(&look.looked_at);
    let grid = hazard.grid(seen + count(&look.left_alone));
    // By the number found lost: its chance, and that chance times the survivors expected with it.
    let mut chance_of = vec![0.0; seen as usize + 1];
    let mut survivors_with = vec![0.0; seen as usize + 1];
    let (mut mean, mut square, mut within) = (0.0, 0.0, 0.0);
    for (z, weight) in grid.nodes {
        let rate = (hazard.mean() + hazard.sd() * z).exp();
        let on_to_planting = survival(rate, look.days_to_planting);
        let others = Expected::of(&look.left_alone, rate, on_to_planting);
        let whole = Expected::of(&look.looked_at, rate, on_to_planting).and(others);
        mean += weight * whole.mean;
        square += weight * whole.mean * whole.mean;
        within += weight * whole.variance;
        for (lost, chance) in lost(&look.looked_at, rate).iter() {
            let left = f64::from(seen) - lost as f64;
            chance_of[lost] += weight * chance;
            survivors_with[lost] += weight * chance * (left * on_to_planting + others.mean);
        }
    }
    let variance_now = within + (square - mean * mean).max(0.0);
    let told: f64 = chance_of
        .iter()
        .zip(&survivors_with)
        .filter(|(chance, _)| **chance > 0.0)
        .map(|(chance, sum)| chance * (sum / chance - mean).powi(2))
        .sum();
    Telling { variance_now, variance_told: told.clamp(0.0, variance_now) }
}

fn survival(rate: f64, days: u32) -> f64 {
    // 0 days and an endless rate would be no number.
    if days == 0 { 1.0 } else { (-rate * f64::from(days)).exp() }
}

/// Survivors at planting once the rate is known.
#[derive(Clone, Copy)]
struct Expected {
    mean: f64,
    variance: f64,
}

impl Expected {
    fn of(groups: &[SeenGroup], rate: f64, on_to_planting: f64) -> Self {
        let mut sum = Self { mean: 0.0, variance: 0.0 };
        for group in groups {
            let alive = survival(rate, group.days) * on_to_planting;
            sum.mean += f64::from(group.count) * alive;
            sum.variance += f64::from(group.count) * alive * (1.0 - alive);
        }
        sum
    }

    fn and(self, other: Self) -> Self {
        Self { mean: self.mean + other.mean, variance: self.variance + other.variance }
    }
}

/// How many are found lost tonight once the rate is known.
fn lost(groups: &[SeenGroup], rate: f64) -> Distribution {
    groups.iter().fold(Distribution::certain(0), |sum, group| {
        let alive = survival(rate, group.days);
        let gone = if group.days == 0 { 0.0 } else { -(-rate * f64::from(group.days)).exp_m1() };
        let of_group = Distribution::binomial(group.count as usize, gone, alive, Tail::Cut);
        sum.convolve(&of_group, Tail::Cut)
    })
}
