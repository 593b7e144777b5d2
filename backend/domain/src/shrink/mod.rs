//! What one variety's few records say when the network's many stand behind them: empirical Bayes.
//!
//! ```text
//! share   how many of so many: came up of planted, sound of looked at (beta-binomial)
//! yields  how many from so many: sound divisions from clumps (gamma-Poisson)
//! ```
//!
//! The prior is the one under which all records together are most likely (maximum marginal
//! likelihood); a record then shifts it as far as its own counts carry. What may not enter: what the
//! counts are of, and when they were made.

mod share;
mod yields;

pub use share::{SharePrior, ShareRecord, share_prior};
pub use yields::{YieldPrior, YieldRecord, yield_prior};

/// How alike the records are, as far as they tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Spread {
    /// They differ by more than chance.
    Differ,
    /// They differ by no more than chance would make them: one rate serves for all.
    Alike,
}

/// Why there is no prior of the network's own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NoPrior {
    /// One record says nothing about how records differ.
    #[error("fewer than two records")]
    TooFew,
    /// Every one or none: any rate near the end is as likely.
    #[error("every record is at the same end, all or none")]
    AtTheEnd,
}

/// ln a (a + 1) ... (a + n − 1), and its slope in a.
fn rising(a: f64, n: u32) -> (f64, f64) {
    use statrs::function::gamma::{digamma, ln_gamma};
    let whole = f64::from(n);
    if n > 4096 && a > 1e-3 && whole > 0.1 * a {
        return (ln_gamma(a + whole) - ln_gamma(a), digamma(a + whole) - digamma(a));
    }
    (0..n)
        .map(|j| a + f64::from(j))
        .fold((0.0, 0.0), |(log, slope), one| (log + one.ln(), slope + 1.0 / one))
}

/// Beyond this many records' worth the prior is a point.
const SUREST: f64 = 1e5;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rising_product_is_the_same_by_terms_and_by_gamma_functions() {
        let (log, slope) = rising(7.5, 5000);
        let by_terms: f64 = (0..5000).map(|j| (7.5 + f64::from(j)).ln()).sum();
        let slope_by_terms: f64 = (0..5000).map(|j| 1.0 / (7.5 + f64::from(j))).sum();
        assert!((log - by_terms).abs() < 1e-7 && (slope - slope_by_terms).abs() < 1e-9);
    }
}
