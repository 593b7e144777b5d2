//! Uphill to the optimum of a smooth function of few numbers: Broyden, Fletcher, Goldfarb and
//! Shanno's method with a halving line search (Nocedal and Wright, Numerical Optimization, 2nd
//! ed., 2006, algorithm 6.1). What may not enter: what the function is.

use nalgebra::{DMatrix, DVector};

/// Stop when a step promises less than this.
const GAIN: f64 = 1e-7;
/// Stop when steps gain less than this, however much they promise.
const LEAST: f64 = 1e-9;
const MOST_STEPS: u32 = 200;
/// No step is longer: parameters are logs and standard deviations of logs.
const LONGEST: f64 = 1.0;

/// A function's value and gradient somewhere.
pub(crate) trait Seen {
    fn value(&self) -> f64;
    fn gradient(&self) -> &[f64];
}

/// Climbs from `start`, where `seen` was seen. `spread` guesses how far each number may be off,
/// squared: the inverse curvature. `look` answers `None` out of range.
pub(crate) fn climb<S: Seen>(
    start: Vec<f64>,
    seen: S,
    spread: &[f64],
    look: impl Fn(&[f64], &S) -> Option<S>,
) -> (Vec<f64>, S) {
    let numbers = start.len();
    let (mut at, mut seen) = (DVector::from_vec(start), seen);
    let guess = DMatrix::from_diagonal(&DVector::from_column_slice(spread));
    let mut inverse = guess.clone();
    let mut fresh = true;
    for _ in 0..MOST_STEPS {
        let uphill = DVector::from_column_slice(seen.gradient());
        let mut step = &inverse * &uphill;
        if step.dot(&uphill) <= 0.0 {
            inverse = guess.clone();
            step = &inverse * &uphill;
        }
        let longest = step.amax();
        if longest > LONGEST {
            step *= LONGEST / longest;
        }
        let promised = step.dot(&uphill);
        if promised < GAIN {
            break;
        }
        let Some((moved, next)) = along(&at, &step, promised, &seen, &look) else {
            if fresh {
                break;
            }
            // The curvature learned on the way misleads here: forget it once.
            inverse = guess.clone();
            fresh = true;
            continue;
        };
        let by = &moved - &at;
        let turned = &uphill - DVector::from_column_slice(next.gradient());
        let curved = by.dot(&turned);
        if curved > 1e-10 * by.norm() * turned.norm() {
            let keep = DMatrix::identity(numbers, numbers) - &by * turned.transpose() / curved;
            inverse = &keep * &inverse * keep.transpose() + &by * by.transpose() / curved;
            fresh = false;
        }
        let gained = next.value() - seen.value();
        (at, seen) = (moved, next);
        if gained < LEAST {
            break;
        }
    }
    (at.as_slice().to_vec(), seen)
}

fn along<S: Seen>(
    at: &DVector<f64>,
    step: &DVector<f64>,
    promised: f64,
    seen: &S,
    look: &impl Fn(&[f64], &S) -> Option<S>,
) -> Option<(DVector<f64>, S)> {
    let mut length = 1.0;
    while length > 1e-10 {
        let moved = at + step * length;
        if let Some(next) = look(moved.as_slice(), seen)
            && next.value() >= seen.value() + 1e-4 * length * promised
        {
            return Some((moved, next));
        }
        length *= 0.4;
    }
    None
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    struct Here(f64, Vec<f64>);

    impl Seen for Here {
        fn value(&self) -> f64 {
            self.0
        }
        fn gradient(&self) -> &[f64] {
            &self.1
        }
    }

    /// Rosenbrock's valley (Comput. J. 3 (1960) 175), upside down; its top is at (1, 1).
    fn valley(at: &[f64]) -> Here {
        let (x, y) = (at[0], at[1]);
        let value = -(1.0 - x).powi(2) - 100.0 * (y - x * x).powi(2);
        let slope = vec![2.0 * (1.0 - x) + 400.0 * x * (y - x * x), -200.0 * (y - x * x)];
        Here(value, slope)
    }

    #[test]
    fn a_bent_valley_is_followed_to_its_top() {
        let start = vec![-1.2, 1.0];
        let (at, seen) =
            climb(start.clone(), valley(&start), &[0.01, 0.01], |at, _| Some(valley(at)));
        assert!((at[0] - 1.0).abs() < 1e-2 && (at[1] - 1.0).abs() < 1e-2, "{at:?}");
        assert!(seen.value() > -1e-5);
    }
}
