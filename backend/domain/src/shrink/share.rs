//! Shares: of so many tried, so many did.

use super::{NoPrior, SUREST, Spread, rising};
use crate::climb::{Seen, climb};

/// Of `of`, `many` did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ShareRecord {
    /// Those that did; at most `of`.
    pub many: u32,
    /// Those that were tried.
    pub of: u32,
}

/// The beta distribution that the shares of all records come from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SharePrior {
    /// Counts for.
    pub alpha: f64,
    /// Counts against.
    pub beta: f64,
    /// The log of the marginal likelihood, without binomial coefficients.
    pub log_likelihood: f64,
    /// Whether records differ by more than chance.
    pub spread: Spread,
}

impl SharePrior {
    /// The share believed of one record's own: Beta(alpha, beta) and its mean.
    ///
    /// ```
    /// use spareloop_domain::shrink::{ShareRecord, share_prior};
    /// let records = [(9, 10), (5, 10), (17, 20), (3, 10)].map(|(many, of)| ShareRecord { many, of });
    /// let prior = share_prior(&records)?;
    /// let (_, _, mean) = prior.of(records[3]);
    /// assert!(mean > 0.3 && mean < 0.6);
    /// # Ok::<(), spareloop_domain::shrink::NoPrior>(())
    /// ```
    pub fn of(&self, record: ShareRecord) -> (f64, f64, f64) {
        let many = record.many.min(record.of);
        let alpha = self.alpha + f64::from(many);
        let beta = self.beta + f64::from(record.of - many);
        (alpha, beta, alpha / (alpha + beta))
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

/// The beta prior of greatest marginal likelihood (beta-binomial).
///
/// Records of nothing tell nothing. Where records differ by no more than chance, the likelihood has
/// no top: the prior is then the common share, as sure as 100,000 tries.
pub fn share_prior(records: &[ShareRecord]) -> Result<SharePrior, NoPrior> {
    let records: Vec<ShareRecord> = records.iter().copied().filter(|one| one.of > 0).collect();
    if records.len() < 2 {
        return Err(NoPrior::TooFew);
    }
    let many: f64 = records.iter().map(|one| f64::from(one.many.min(one.of))).sum();
    let of: f64 = records.iter().map(|one| f64::from(one.of)).sum();
    if many <= 0.0 || many >= of {
        return Err(NoPrior::AtTheEnd);
    }
    let look = |at: &[f64]| height(&records, at[0], at[1]);
    // The logit of the mean and the log of the sureness.
    let start = vec![(many / (of - many)).ln(), 10.0_f64.ln()];
    let Some(seen) = look(&start) else { return Err(NoPrior::AtTheEnd) };
    let spread = [1.0 / records.len() as f64; 2];
    let (at, seen) = climb(start, seen, &spread, |at, _| look(at));
    // On the flat slope to where all are alike, the end is compared with where the climb stopped.
    let alike = vec![(many / (of - many)).ln(), SUREST.ln()];
    let (at, seen, spread) = match look(&alike) {
        Some(there) if there.value >= seen.value - 1e-6 => (alike, there, Spread::Alike),
        _ => (at, seen, Spread::Differ),
    };
    let (alpha, beta) = parts(at[0], at[1]);
    Ok(SharePrior { alpha, beta, log_likelihood: seen.value, spread })
}

fn parts(logit: f64, log_sum: f64) -> (f64, f64) {
    let (mean, sum) = (1.0 / (1.0 + (-logit).exp()), log_sum.exp());
    (sum * mean, sum * (1.0 - mean))
}

fn height(records: &[ShareRecord], logit: f64, log_sum: f64) -> Option<Here> {
    let (alpha, beta) = parts(logit, log_sum);
    if !(log_sum <= SUREST.ln() + 1e-9 && log_sum > -7.0 && alpha > 0.0 && beta > 0.0) {
        return None;
    }
    let (mut value, mut by_alpha, mut by_beta) = (0.0, 0.0, 0.0);
    for record in records {
        let many = record.many.min(record.of);
        let (for_it, against, all) =
            (rising(alpha, many), rising(beta, record.of - many), rising(alpha + beta, record.of));
        value += for_it.0 + against.0 - all.0;
        by_alpha += for_it.1 - all.1;
        by_beta += against.1 - all.1;
    }
    // dα/dlogit = αβ/(α + β) = −dβ/dlogit; dα/dlog sum = α.
    let turn = alpha * beta / (alpha + beta);
    let gradient = [turn * (by_alpha - by_beta), alpha * by_alpha + beta * by_beta];
    value.is_finite().then_some(Here { value, gradient })
}
