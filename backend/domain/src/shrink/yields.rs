//! Yields: from so many, so many came; each may give none, one or several.

use super::{NoPrior, SUREST, Spread, rising};
use crate::climb::{Seen, climb};

/// From `from`, `came` came: 24 sound divisions from 6 clumps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct YieldRecord {
    /// What came.
    pub came: u32,
    /// What it came from.
    pub from: u32,
}

/// The gamma distribution that the yields of all records come from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct YieldPrior {
    /// The shape: how much came in what the prior is worth.
    pub shape: f64,
    /// The rate: from how many; the mean is shape / rate.
    pub rate: f64,
    /// The log of the marginal likelihood, all factors included.
    pub log_likelihood: f64,
    /// Whether records differ by more than chance.
    pub spread: Spread,
}

impl YieldPrior {
    /// The yield believed of one record's own: Gamma(shape, rate) and its mean.
    ///
    /// ```
    /// use spareloop_domain::shrink::{YieldRecord, yield_prior};
    /// let records = [(24, 6), (9, 5), (40, 7), (3, 1)].map(|(came, from)| YieldRecord { came, from });
    /// let prior = yield_prior(&records)?;
    /// let (_, _, mean) = prior.of(records[1]);
    /// assert!(mean > 9.0 / 5.0 && mean < prior.shape / prior.rate);
    /// # Ok::<(), spareloop_domain::shrink::NoPrior>(())
    /// ```
    pub fn of(&self, record: YieldRecord) -> (f64, f64, f64) {
        let shape = self.shape + f64::from(record.came);
        let rate = self.rate + f64::from(record.from);
        (shape, rate, shape / rate)
    }
}

struct Here {
    value: f64,
    gradient: [f64; 2],
}

impl Seen for Here {
    fn value(&self) -> f64 {
        self.value
    }
    fn gradient(&self) -> &[f64] {
        &self.gradient
    }
}

/// The gamma prior of greatest marginal likelihood (gamma-Poisson, that is negative binomial).
///
/// Where records differ by no more than chance, the prior is the common yield, as sure as what
/// 100,000 would tell.
pub fn yield_prior(records: &[YieldRecord]) -> Result<YieldPrior, NoPrior> {
    let records: Vec<YieldRecord> = records.iter().copied().filter(|one| one.from > 0).collect();
    if records.len() < 2 {
        return Err(NoPrior::TooFew);
    }
    let came: f64 = records.iter().map(|one| f64::from(one.came)).sum();
    let from: f64 = records.iter().map(|one| f64::from(one.from)).sum();
    if came <= 0.0 {
        return Err(NoPrior::AtTheEnd);
    }
    let look = |at: &[f64]| height(&records, at[0], at[1]);
    // The log of the mean and the log of the shape.
    let start = vec![(came / from).ln(), 2.0_f64.ln()];
    let Some(seen) = look(&start) else { return Err(NoPrior::AtTheEnd) };
    let spread = [1.0 / records.len() as f64; 2];
    let (at, seen) = climb(start, seen, &spread, |at, _| look(at));
    let alike = vec![(came / from).ln(), SUREST.ln()];
    let (at, seen, spread) = match look(&alike) {
        Some(there) if there.value >= seen.value - 1e-6 => (alike, there, Spread::Alike),
        _ => (at, seen, Spread::Differ),
    };
    let shape = at[1].exp();
    Ok(YieldPrior { shape, rate: shape / at[0].exp(), log_likelihood: seen.value, spread })
}

fn height(records: &[YieldRecord], log_mean: f64, log_shape: f64) -> Option<Here> {
    let (mean, shape) = (log_mean.exp(), log_shape.exp());
    if !(log_shape <= SUREST.ln() + 1e-9 && log_shape > -7.0 && mean.is_finite() && mean > 0.0) {
        return None;
    }
    let rate = shape / mean;
    let (mut value, mut by_mean, mut by_shape) = (0.0, 0.0, 0.0);
    for record in records {
        let (came, from) = (f64::from(record.came), f64::from(record.from));
        let (log, slope) = rising(shape, record.came);
        // With q = rate / (rate + from): shape ln q + came ln (1 − q).
        let ln_q = -(from / rate).ln_1p();
        let ln_p = (from / (rate + from)).ln();
        value += log - statrs::function::factorial::ln_factorial(u64::from(record.came))
            + shape * ln_q
            + came * ln_p;
        // In the log mean: came·q − shape·(1 − q); in the log shape at a fixed mean besides.
        let q = rate / (rate + from);
        let turn = came * q - shape * (1.0 - q);
        by_mean += turn;
        by_shape += shape * (slope + ln_q) - turn;
    }
    value.is_finite().then_some(Here { value, gradient: [by_mean, by_shape] })
}
