//! Prices that prove a close bound, by the volume algorithm.
//!
//! Any prices prove a bound; the best are where no step proves less. Steps go from the best prices so
//! far along an average of slopes, which is also what the best mix of answers would leave
//! (Barahona and Anbil, Mathematical Programming 87 (2000) 385; from memory). No linear program is
//! solved: at a thousand farms one step costs less than reading the round did.

use crate::duals::Duals;
use crate::instance::Instance;
use crate::watch::Watch;

/// How prices are sought.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Pace {
    /// Most steps.
    pub(crate) steps: u64,
    /// How far the first step goes; 1 is far.
    pub(crate) reach: f64,
    /// Stops when a step could hardly change anything.
    pub(crate) least_reach: f64,
}

impl Pace {
    /// How prices are sought from `start`: with short steps, unless nobody sought them before.
    pub(crate) fn from(of: &Instance, start: &Duals, steps: u64) -> Self {
        let reach = if *start == Duals::none(of) { 0.2 } else { 0.02 };
        Self { steps, reach, least_reach: 1e-3 }
    }
}

/// Most that a new slope counts for in the average.
const MOST_NEW: f64 = 0.9;
/// After so many steps that proved no less, steps get shorter.
const MOST_FAILED: u32 = 5;

/// Seeks from `start` prices that prove less than `start` does, at best `target`.
pub(crate) fn seek(
    of: &Instance,
    start: &Duals,
    target: f64,
    pace: Pace,
    watch: &Watch<'_>,
    mut price: impl FnMut(&Duals) -> (f64, Duals),
) -> (Duals, f64) {
    let mut best = start.clone();
    let (mut value, used) = price(&best);
    let mut average = best.slope(of, &used);
    let (mut reach, mut failed) = (pace.reach, 0_u32);
    for _ in 1..=pace.steps {
        if watch.over() || value <= target {
            break;
        }
        let along = best.free(&average);
        let length = along.dot(&along);
        if length < 1e-9 {
            break;
        }
        let aim = target.max(value * 0.9);
        let trial = best.stepped(&along, reach * (value - aim) / length);
        let (trial_value, used) = price(&trial);
        let slope = trial.slope(of, &used);
        let share = nearest(&average, &slope).clamp(MOST_NEW / 10.0, MOST_NEW);
        let agrees = trial.free(&slope).dot(&along);
        average = average.mixed(&slope, share);
        if trial_value < value {
            (best, value, failed) = (trial, trial_value, 0);
            reach = (reach * if agrees > 0.0 { 1.05 } else { 1.0 }).min(2.0);
        } else {
            failed += 1;
            if failed >= MOST_FAILED {
                reach *= 0.66;
                failed = 0;
            }
        }
        if reach < pace.least_reach {
            break;
        }
    }
    (best, value)
}

/// The share of `slope` in the shortest mix of both.
fn nearest(average: &Duals, slope: &Duals) -> f64 {
    let (a, b, c) = (average.dot(average), average.dot(slope), slope.dot(slope));
    let below = a - 2.0 * b + c;
    if below <= 0.0 { 1.0 } else { (a - b) / below }
}
