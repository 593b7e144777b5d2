//! How sure a share is after so many were seen: Wilson's and the exact interval.
//!
//! Wilson (1927), uncorrected, as in Newcombe, Statistics in Medicine 17 (1998) 857; exact is
//! Clopper and Pearson (1934). People are told a *likely range*. What may not enter: what the
//! counts were of.

use statrs::distribution::{ContinuousCDF, Normal};

use crate::chance::{Distribution, Tail};

/// A range of shares, both within 0 and 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// The lower end.
    pub low: f64,
    /// The upper end.
    pub high: f64,
}

/// So many of so many, with how sure to be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    successes: u64,
    trials: u64,
    confidence: f64,
}

/// Which number of a share is impossible.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ShareError {
    /// More successes than trials.
    #[error("more successes than trials")]
    Successes,
    /// No trials, or beyond [`MAX_TRIALS`].
    #[error("there must be from 1 to 1,000,000,000 trials")]
    Trials,
    /// How sure to be.
    #[error("the confidence must be strictly between 0 and 1")]
    Confidence,
}

/// The most trials that are reckoned with exactly.
pub const MAX_TRIALS: u64 = 1_000_000_000;

impl Share {
    /// Checks the three numbers: trials from 1 to [`MAX_TRIALS`], confidence strictly in (0, 1).
    pub fn new(successes: u64, trials: u64, confidence: f64) -> Result<Self, ShareError> {
        if !(1..=MAX_TRIALS).contains(&trials) {
            return Err(ShareError::Trials);
        }
        if successes > trials {
            return Err(ShareError::Successes);
        }
        if !(confidence > 0.0 && confidence < 1.0) {
            return Err(ShareError::Confidence);
        }
        Ok(Self { successes, trials, confidence })
    }

    /// Wilson's interval without continuity correction.
    ///
    /// (p̂ + z²/2n ± z √(p̂(1 − p̂)/n + z²/4n²)) / (1 + z²/n), z the normal's upper quantile.
    ///
    /// ```
    /// use spareloop_domain::interval::Share;
    /// let likely = Share::new(81, 263, 0.95)?.wilson();
    /// assert!((likely.low - 0.2553).abs() < 5e-5 && (likely.high - 0.3662).abs() < 5e-5);
    /// # Ok::<(), spareloop_domain::interval::ShareError>(())
    /// ```
    pub fn wilson(&self) -> Interval {
        let n = self.trials as f64;
        let share = self.successes as f64 / n;
        let z = Normal::standard().inverse_cdf(f64::midpoint(1.0, self.confidence));
        let grown = 1.0 + z * z / n;
        let centre = (share + z * z / (2.0 * n)) / grown;
        let half = z / grown * (share * (1.0 - share) / n + z * z / (4.0 * n * n)).sqrt();
        Interval {
            low: if self.successes == 0 { 0.0 } else { (centre - half).max(0.0) },
            high: if self.successes == self.trials { 1.0 } else { (centre + half).min(1.0) },
        }
    }

    /// The exact interval: the shares at which what was seen, or more extreme, has half the miss.
    pub fn exact(&self) -> Interval {
        let half_miss = f64::midpoint(1.0, -self.confidence);
        let [seen, trials] = whole([self.successes, self.trials]);
        Interval {
            low: if self.successes == 0 {
                0.0
            } else {
                logistic(crossing(|logit| table(trials, logit).at_least(seen) >= half_miss))
            },
            high: upper(self.successes, self.trials, half_miss),
        }
    }
}

/// Counts are at most [`MAX_TRIALS`], which any usize of ours holds.
fn whole(counts: [u64; 2]) -> [usize; 2] {
    counts.map(|k| usize::try_from(k).unwrap_or(usize::MAX))
}

fn table(trials: usize, logit: f64) -> Distribution {
    Distribution::binomial(trials, logistic(logit), logistic(-logit), Tail::Full)
}

/// The share at which so few successes, or fewer, have the chance `miss`: the exact one-sided upper
/// limit.
pub(crate) fn upper(successes: u64, trials: u64, miss: f64) -> f64 {
    if successes >= trials {
        return 1.0;
    }
    let [seen, trials] = whole([successes, trials]);
    logistic(crossing(|logit| table(trials, logit).at_most(seen) <= miss))
}

fn logistic(logit: f64) -> f64 {
    1.0 / (1.0 + (-logit).exp())
}

/// Where `reached` turns true on the logit scale, which it does once.
fn crossing(reached: impl Fn(f64) -> bool) -> f64 {
    let (mut low, mut high) = (-700.0, 700.0);
    // 1400 / 2⁶⁰ is about 10⁻¹⁵, as fine as the share itself can be told apart.
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if reached(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    f64::midpoint(low, high)
}
