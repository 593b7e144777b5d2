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
    /// Stops when a step could hardly change anything.
    pub(crate) least_reach: f64,
}

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
    let (mut reach, mut failed, mut most_new) = (1.0_f64, 0_u32, 0.3_f64);
    let mut checkpoint = value;
    for step in 1..=pace.steps {
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
        let share = nearest(&average, &slope).clamp(most_new / 10.0, most_new);
        let agrees = trial.free(&slope).dot(&along);
        average = average.mixed(&slope, share);
        if trial_value < value {
            (best, value, failed) = (trial, trial_value, 0);
            reach = (reach * if agrees > 0.0 { 1.1 } else { 1.0 }).min(2.0);
        } else {
            failed += 1;
            if failed >= 12 {
                reach *= 0.66;
                failed = 0;
            }
        }
        if step % 60 == 0 {
            if checkpoint - value < 0.002 * value.abs() {
                most_new = (most_new * 0.7).max(0.02);
                reach = reach.clamp(0.01, 0.5);
            }
            checkpoint = value;
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
