//! The likelihood of the standard deviations and μ, effects integrated out by Laplace's method.
//!
//! At the modes u* of the effects (in units of their standard deviations), with the expected
//! weights W there:
//!
//! ```text
//! f(σ, μ) = Σ log likelihood(η) − ½ |u*|² − ½ ln det (I + Λ Zᵀ W Z Λ),   η = μ + Z Λ u*
//! ```
//!
//! the function that `glmer` of R's lme4 maximises with nAGQ = 1 (Bates, Mächler, Bolker, Walker,
//! J. Stat. Softw. 67 (2015) 1). Its gradient is exact: the modes' own movement enters through one
//! more solve with the observed curvature. What may not enter: the search for the optimum.

use std::cell::Cell;

use super::data::{Flat, LossData};
use super::look::{Expected, Told};
use super::system::{Effects, Factored, Intercept, Pattern, Scales};

/// Modes are improved until the gain still to be had is below this.
const GAIN: f64 = 1e-11;
/// A gain below this may drown in the rounding of a long sum.
const ROUNDING: f64 = 1e-7;
const MOST_STEPS: u32 = 100;
/// A log hazard above this is beyond any store: everything is lost within a second.
const CEILING: f64 = 12.0;

/// Where the function is asked for. Standard deviations may be negative: it is even in them.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Point {
    /// One a group, then the lots', then each arm's μ.
    pub(super) at: Vec<f64>,
    /// How many groups.
    pub(super) groups: usize,
}

impl Point {
    pub(super) fn log_hazards(&self) -> &[f64] {
        &self.at[self.groups + 1..]
    }

    pub(super) fn scales(&self, pattern: &Pattern, intercept: Intercept) -> Scales {
        let (groups, rest) = self.at.split_at(self.groups);
        pattern.scales(groups, rest[0], intercept)
    }
}

/// The modes at a point.
#[derive(Debug, Clone)]
pub(super) struct Modes {
    pub(super) effects: Effects,
    /// η of each lot.
    pub(super) log_hazards: Vec<f64>,
    pub(super) told: Vec<Told>,
    /// Σ log likelihood − ½ |u|².
    penalised: f64,
}

/// The function's value, its gradient in the order of [`Point::at`], and the modes.
#[derive(Debug, Clone)]
pub(super) struct Value {
    pub(super) height: f64,
    pub(super) gradient: Vec<f64>,
    pub(super) modes: Modes,
}

/// The function.
pub(super) struct Laplace<'a> {
    pub(super) data: &'a LossData,
    pub(super) flat: &'a Flat,
    pub(super) pattern: &'a Pattern,
    /// How often it was asked for.
    pub(super) evaluations: Cell<u32>,
}

impl<'a> Laplace<'a> {
    pub(super) const fn new(data: &'a LossData, flat: &'a Flat, pattern: &'a Pattern) -> Self {
        Self { data, flat, pattern, evaluations: Cell::new(0) }
    }

    /// The value at a point, the modes being sought from `from`; `None` out of the range of numbers.
    pub(super) fn value(&self, point: &Point, from: &Effects) -> Option<Value> {
        self.evaluations.set(self.evaluations.get().saturating_add(1));
        let scales = point.scales(self.pattern, Intercept::Given);
        let modes = self.modes(&scales, point.log_hazards(), from)?;
        let expected = self.expected(&modes.log_hazards);
        let weights: Vec<f64> = expected.iter().map(|one| one.curvature).collect();
        let factored = Factored::new(self.pattern, &scales, &weights, Intercept::Given)?;
        let value = modes.penalised - 0.5 * factored.log_determinant() + self.flat.constant;
        let gradient = self.gradient(point, &scales, &modes, &expected, &factored)?;
        let all_are_numbers = value.is_finite() && gradient.iter().all(|slope| slope.is_finite());
        all_are_numbers.then_some(Value { height: value, gradient, modes })
    }

    /// The value at numbers in the order of [`Point::at`].
    pub(super) fn look(&self, at: &[f64], from: &Effects) -> Option<Value> {
        self.value(&Point { at: at.to_vec(), groups: self.data.groups().len() }, from)
    }

    /// Fisher's information of each lot.
    pub(super) fn expected(&self, log_hazards: &[f64]) -> Vec<Expected> {
        let lots = log_hazards.iter().enumerate();
        lots.map(|(lot, one)| self.flat.of_lot(lot).expected(*one)).collect()
    }

    fn stand(&self, scales: &Scales, arms: &[f64], effects: Effects) -> Option<Modes> {
        let lots = 0..self.pattern.lots();
        let log_hazards: Vec<f64> = lots
            .map(|lot| {
                arms[self.data.arm(lot) as usize] + self.pattern.sum_at(lot, scales, &effects)
            })
            .collect();
        if !log_hazards.iter().all(|one| *one < CEILING) {
            return None;
        }
        let told: Vec<Told> = log_hazards
            .iter()
            .enumerate()
            .map(|(lot, one)| self.flat.of_lot(lot).told(*one))
            .collect();
        let likelihood: f64 = told.iter().map(|told| told.log_likelihood).sum();
        let penalised = likelihood - 0.5 * effects.dot(&effects);
        penalised.is_finite().then_some(Modes { effects, log_hazards, told, penalised })
    }

    /// Newton's steps with the observed curvature, halved while they don't gain. The sum is
    /// concave, so that there is one mode.
    fn modes(&self, scales: &Scales, arms: &[f64], from: &Effects) -> Option<Modes> {
        let begun = self.stand(scales, arms, from.clone());
        let mut modes = match begun {
            Some(modes) => modes,
            None => self.stand(scales, arms, self.pattern.no_effects())?,
        };
        for _ in 0..MOST_STEPS {
            let (step, gain) = self.step(scales, &modes)?;
            if gain < GAIN {
                return Some(modes);
            }
            let mut length = 1.0;
            loop {
                let moved = moved(&modes.effects, &step, length);
                match self.stand(scales, arms, moved) {
                    Some(next) if next.penalised > modes.penalised => {
                        modes = next;
                        break;
                    }
                    // Rounding allows no more.
                    _ if gain < ROUNDING || length < 1e-9 => return Some(modes),
                    _ => length *= 0.5,
                }
            }
        }
        Some(modes)
    }

    /// The step, and the gain that it promises.
    fn step(&self, scales: &Scales, modes: &Modes) -> Option<(Effects, f64)> {
        let slopes: Vec<f64> = modes.told.iter().map(|told| told.slope).collect();
        let observed: Vec<f64> = modes.told.iter().map(|told| told.observed).collect();
        let mut uphill = self.pattern.spread(scales, &slopes);
        zip(&mut uphill, &modes.effects, |slope, effect| slope - effect);
        let mut step = uphill.clone();
        Factored::new(self.pattern, scales, &observed, Intercept::Given)?.solve(&mut step);
        let gain = 0.5 * uphill.dot(&step);
        Some((step, gain))
    }

    fn gradient(
        &self,
        point: &Point,
        scales: &Scales,
        modes: &Modes,
        expected: &[Expected],
        factored: &Factored<'_>,
    ) -> Option<Vec<f64>> {
        let groups = point.groups;
        let lots = self.pattern.lots();
        let leverages = factored.leverages();
        let places: Vec<usize> = (0..groups).map(|group| leverages.place(group)).collect();
        // How the determinant moves: with each standard deviation while weights stand, ...
        let mut determinant = vec![0.0; point.at.len()];
        // ... and with each lot's η through its weight.
        let mut pull = vec![0.0; lots];
        for lot in 0..lots {
            let leverage = leverages.of_lot(lot);
            let expected = &expected[lot];
            for (group, place) in places.iter().enumerate() {
                determinant[group] += 2.0 * expected.curvature * leverage.with_levels[*place];
            }
            determinant[groups] += 2.0 * expected.curvature * leverage.with_own;
            pull[lot] = expected.slope * leverage.variance;
        }
        let observed: Vec<f64> = modes.told.iter().map(|told| told.observed).collect();
        let mut answer = self.pattern.spread(scales, &pull);
        Factored::new(self.pattern, scales, &observed, Intercept::Given)?.solve(&mut answer);
        let mut slopes: Vec<f64> = determinant.iter().map(|d| -0.5 * d).collect();
        for lot in 0..lots {
            let told = &modes.told[lot];
            let answered = self.pattern.sum_at(lot, scales, &answer);
            let own = told.slope - 0.5 * (pull[lot] - told.observed * answered);
            for (group, slope) in slopes.iter_mut().take(groups).enumerate() {
                let moved = self.pattern.effect_of(lot, group, &modes.effects);
                let back = self.pattern.effect_of(lot, group, &answer);
                *slope += own * moved - 0.5 * told.slope * back;
            }
            slopes[groups] += own * modes.effects.lots[lot] - 0.5 * told.slope * answer.lots[lot];
            slopes[groups + 1 + self.data.arm(lot) as usize] += own;
        }
        for (slope, sd) in slopes[..=groups].iter_mut().zip(&point.at) {
            // The function is even in it: there is no slope at 0 but of rounding.
            if *sd == 0.0 {
                *slope = 0.0;
            }
        }
        Some(slopes)
    }
}

fn zip(one: &mut Effects, other: &Effects, with: impl Fn(f64, f64) -> f64) {
    let part = |one: &mut [f64], other: &[f64]| {
        for (a, b) in one.iter_mut().zip(other) {
            *a = with(*a, *b);
        }
    };
    part(&mut one.outer, &other.outer);
    part(&mut one.dense, &other.dense);
    part(&mut one.lots, &other.lots);
}

fn moved(from: &Effects, step: &Effects, length: f64) -> Effects {
    let mut moved = from.clone();
    zip(&mut moved, step, |at, by| at + length * by);
    moved
}
