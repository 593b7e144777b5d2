//! How many of what is planted comes up: a beta distribution per variety.
//!
//! What may not enter: losses in store, which come before.

use crate::words::Count;

/// What is believed of the share of planted units that comes up: Beta(alpha, beta).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EmergenceRate {
    alpha: f64,
    beta: f64,
}

/// Units planted and those that came up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Emergence {
    /// Planted.
    pub planted: Count,
    /// Came up.
    pub came_up: Count,
}

/// Which number of an emergence rate is impossible.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum EmergenceError {
    /// Of those that come up.
    #[error("alpha must be a number from 1e-6 to 1e12")]
    Alpha,
    /// Of those that don't.
    #[error("beta must be a number from 1e-6 to 1e12")]
    Beta,
}

impl Default for EmergenceRate {
    /// Beta(18, 2): 9 in 10 come up, as sure as after 20 plants. Ours, common practice, no source.
    fn default() -> Self {
        Self { alpha: 18.0, beta: 2.0 }
    }
}

impl EmergenceRate {
    /// Checks both numbers.
    pub fn new(alpha: f64, beta: f64) -> Result<Self, EmergenceError> {
        if !(1e-6..=1e12).contains(&alpha) {
            return Err(EmergenceError::Alpha);
        }
        if !(1e-6..=1e12).contains(&beta) {
            return Err(EmergenceError::Beta);
        }
        Ok(Self { alpha, beta })
    }

    /// The belief after one more record: those that came up are added to alpha, the others to beta.
    ///
    /// ```
    /// use spareloop_domain::forecast::{Emergence, EmergenceRate};
    /// use spareloop_domain::words::Count;
    /// let spring = Emergence { planted: Count::from(10), came_up: Count::from(8) };
    /// let rate = EmergenceRate::default().after(spring);
    /// assert_eq!((rate.alpha(), rate.beta()), (26.0, 4.0));
    /// ```
    #[must_use]
    pub fn after(self, record: Emergence) -> Self {
        let came_up = record.came_up.min(record.planted);
        Self {
            alpha: self.alpha + f64::from(came_up.get()),
            beta: self.beta + f64::from(record.planted.less(came_up).get()),
        }
    }

    /// The first number of the beta.
    pub const fn alpha(self) -> f64 {
        self.alpha
    }

    /// The second number of the beta.
    pub const fn beta(self) -> f64 {
        self.beta
    }

    /// The share expected to come up.
    pub fn mean(self) -> f64 {
        self.alpha / (self.alpha + self.beta)
    }
}

/// The chance that at least `wanted` come up, by the number planted (a beta-binomial's tail).
///
/// The chance grows with each unit planted by the chance that just this one makes the number full:
/// C(n−1, w−1) B(α + w, β + n − w)/B(α, β). Nothing is subtracted, so no digits are lost.
#[derive(Debug, Clone)]
pub(super) struct EnoughComeUp {
    rate: EmergenceRate,
    wanted: usize,
    /// For `wanted`, `wanted + 1`, ... planted.
    chances: Vec<f64>,
    /// ln of the chance that the next unit planted makes the number full.
    ln_next: f64,
}

impl EnoughComeUp {
    /// For at least one plant wanted.
    pub(super) fn new(rate: EmergenceRate, wanted: usize) -> Self {
        let ln_all =
            (0..wanted).map(|j| -(rate.beta / (rate.alpha + j as f64)).ln_1p()).sum::<f64>();
        Self { rate, wanted, chances: Vec::new(), ln_next: ln_all }
    }

    /// Works the chances out up to `planted`.
    pub(super) fn extend_to(&mut self, planted: usize) {
        let (wanted, EmergenceRate { alpha, beta }) = (self.wanted as f64, self.rate);
        let mut sum = self.chances.last().copied().unwrap_or(0.0);
        while self.wanted + self.chances.len() <= planted {
            sum += self.ln_next.exp();
            let n = (self.wanted + self.chances.len()) as f64;
            self.chances.push(sum.min(1.0));
            // From n planted to n + 1.
            let missed = n + 1.0 - wanted;
            self.ln_next += (n / missed * ((beta + missed - 1.0) / (alpha + beta + n))).ln();
        }
    }

    /// The chance with `planted` planted, which [`Self::extend_to`] has reached.
    pub(super) fn chance(&self, planted: usize) -> f64 {
        planted.checked_sub(self.wanted).map_or(0.0, |at| self.chances[at])
    }
}
