//! How much weight stock loses to dry air, from the farm's own weighed samples or not at all.
//!
//! No published coefficient links the deficit of the air to the weight that dahlia tubers lose, so
//! a farm weighs samples twice or more. Each pair of weighings is one interval: x the deficit summed
//! over it (kPa·day), y the share of weight lost. y = b·x + error by least squares through the
//! origin: b = Σxy/Σx², its standard error √(Σ(y − bx)²/(n − 1)/Σx²), its likely range by Student's
//! t with n − 1 degrees of freedom.
//!
//! **When it is stated:** at least [`FEWEST_INTERVALS`] intervals of at least [`FEWEST_SAMPLES`]
//! samples, and a likely range that lies above 0. Else nothing is claimed. What may not enter: a
//! figure of anybody else's.

use std::collections::BTreeSet;

use statrs::distribution::{ContinuousCDF, StudentsT};

use super::{Series, Thresholds};
use crate::words::{Day, LotId};

/// Intervals needed before anything is stated (ours, no source).
pub const FEWEST_INTERVALS: usize = 4;
/// Samples needed before anything is stated (ours, no source).
pub const FEWEST_SAMPLES: usize = 2;
/// Of an interval, the share of hours that must have readings of humidity (ours, no source).
const LEAST_COVERED: f64 = 0.9;

/// One weighing of one sample.
#[derive(Debug, Clone, PartialEq)]
pub struct Weighed {
    /// The lot that the sample is of.
    pub lot: LotId,
    /// Which sample of it; empty for its only one.
    pub sample: String,
    /// The day.
    pub on: Day,
    /// Its weight in grams, above 0.
    pub grams: f64,
}

/// Two weighings of one sample that follow one another, and the air between them.
#[derive(Debug, Clone, PartialEq)]
pub struct Interval {
    /// The lot and the sample.
    pub sample: (LotId, String),
    /// The deficit summed over it, kPa·day, above 0.
    pub kpa_days: f64,
    /// The share of weight lost; below 0 where it gained some.
    pub share_lost: f64,
}

/// The share of weight lost per kPa·day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rate {
    /// The middle.
    pub per_kpa_day: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// The likely range: 80 of 100 such ranges hold the rate.
    pub low: f64,
    /// Its other end.
    pub high: f64,
    /// Intervals that it rests on.
    pub intervals: usize,
    /// Samples that it rests on.
    pub samples: usize,
}

/// What the weighings bear.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Calibration {
    /// Too few to say anything.
    TooFew {
        /// Intervals that there are.
        intervals: usize,
        /// Samples that there are.
        samples: usize,
    },
    /// Enough, and their likely range holds 0: no loss is shown.
    NotShown(Rate),
    /// The farm's own rate.
    Own(Rate),
}

/// Pairs weighings up; the deficit between two days is asked of `deficit` (none: not read well
/// enough). Weighings on one day, and days without any deficit, make no interval.
pub fn intervals(
    weighed: &[Weighed],
    deficit: impl Fn(LotId, Day, Day) -> Option<f64>,
) -> Vec<Interval> {
    let mut sorted: Vec<&Weighed> = weighed.iter().collect();
    sorted.sort_by(|a, b| (a.lot, &a.sample, a.on).cmp(&(b.lot, &b.sample, b.on)));
    sorted
        .windows(2)
        .filter_map(|pair| {
            let [first, second] = pair else { return None };
            if (first.lot, &first.sample) != (second.lot, &second.sample) || first.on == second.on {
                return None;
            }
            let kpa_days = deficit(first.lot, first.on, second.on).filter(|sum| *sum > 0.0)?;
            let share_lost = 1.0 - second.grams / first.grams;
            let sample = (first.lot, first.sample.clone());
            Some(Interval { sample, kpa_days, share_lost })
        })
        .collect()
}

/// The deficit of a series between the noons of two days, kPa·day, if its readings cover enough of
/// the time; what they leave out is taken at their mean.
pub fn deficit_between(
    series: &Series,
    from: Day,
    to: Day,
    thresholds: &Thresholds,
) -> Option<f64> {
    let (from, to) = (series.noon(from)?, series.noon(to)?);
    let hours = (to.checked_sub(from)? as f64) / 3_600_000.0;
    let sums = series.sums_between(from, to, thresholds);
    (hours > 0.0 && sums.hours_with_humidity >= LEAST_COVERED * hours)
        .then(|| sums.deficit_kpa_hours * (hours / sums.hours_with_humidity) / 24.0)
}

/// What intervals bear.
///
/// ```
/// use spareloop_domain::climate::{Calibration, calibrate};
/// assert!(matches!(calibrate(&[]), Calibration::TooFew { intervals: 0, samples: 0 }));
/// ```
pub fn calibrate(intervals: &[Interval]) -> Calibration {
    let samples = intervals.iter().map(|it| &it.sample).collect::<BTreeSet<_>>().len();
    let count = intervals.len();
    if count < FEWEST_INTERVALS || samples < FEWEST_SAMPLES {
        return Calibration::TooFew { intervals: count, samples };
    }
    let pairs: Vec<(f64, f64)> = intervals.iter().map(|it| (it.kpa_days, it.share_lost)).collect();
    let (slope, standard_error) = through_origin(&pairs);
    // n − 1 is at least 1, which makes a distribution.
    let t = StudentsT::new(0.0, 1.0, (count - 1) as f64).map_or(f64::NAN, |t| t.inverse_cdf(0.9));
    let half = t * standard_error;
    let rate = Rate {
        per_kpa_day: slope,
        standard_error,
        low: slope - half,
        high: slope + half,
        intervals: count,
        samples,
    };
    if rate.low > 0.0 { Calibration::Own(rate) } else { Calibration::NotShown(rate) }
}

/// Least squares through the origin over (x, y): the slope and its standard error.
fn through_origin(pairs: &[(f64, f64)]) -> (f64, f64) {
    let squares: f64 = pairs.iter().map(|(x, _)| x * x).sum();
    let products: f64 = pairs.iter().map(|(x, y)| x * y).sum();
    let slope = products / squares;
    let misses: f64 = pairs.iter().map(|(x, y)| (y - slope * x).powi(2)).sum();
    let freedom = pairs.len().saturating_sub(1).max(1) as f64;
    (slope, (misses / freedom / squares).sqrt())
}

impl Calibration {
    /// In words.
    pub fn sentence(&self) -> String {
        match self {
            Self::TooFew { intervals, samples } => format!(
                "Weight loss: nothing is claimed. Your own weighings make {intervals} intervals of {samples} samples; {FEWEST_INTERVALS} of {FEWEST_SAMPLES} are needed, with readings of humidity all the while."
            ),
            Self::NotShown(rate) => format!(
                "Weight loss: nothing is claimed. {} intervals of {} samples show no loss that stands out.",
                rate.intervals, rate.samples
            ),
            Self::Own(rate) => format!(
                "By your own weighings ({} intervals of {} samples) stock loses {:.2} % of its weight per kPa·day, likely {:.2} to {:.2} %.",
                rate.intervals,
                rate.samples,
                rate.per_kpa_day * 100.0,
                rate.low * 100.0,
                rate.high * 100.0
            ),
        }
    }
}

impl Rate {
    /// The share of weight lost to a deficit (kPa·day), by the rate: low, middle, high.
    pub fn loss(&self, kpa_days: f64) -> (f64, f64, f64) {
        (self.low * kpa_days, self.per_kpa_day * kpa_days, self.high * kpa_days)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `NIST` `StRD`, linear regression through the origin, certified values (from memory; the data
    /// are whole numbers, so that anyone can work them out again).
    #[test]
    fn slopes_and_their_errors_are_the_certified_ones() {
        let no_int_1: Vec<(f64, f64)> =
            (0..=10).map(|at| (60.0 + f64::from(at), 130.0 + f64::from(at))).collect();
        let (slope, error) = through_origin(&no_int_1);
        assert!((slope - 2.074_380_165_289_26).abs() < 1e-13, "{slope}");
        assert!((error - 0.165_289_256_198_347e-1).abs() < 1e-14, "{error}");
        let (slope, error) = through_origin(&[(4.0, 3.0), (5.0, 4.0), (6.0, 4.0)]);
        assert!((slope - 0.727_272_727_272_727).abs() < 1e-14, "{slope}");
        assert!((error - 0.420_827_318_078_432e-1).abs() < 1e-14, "{error}");
    }
}
