//! Shrinkage of few records towards many, against published tables and scipy.

use spareloop_domain::shrink::{
    NoPrior, ShareRecord, Spread, YieldRecord, share_prior, yield_prior,
};

use crate::{ask, number, rows, whole};

fn share(many: u64, of: u64) -> ShareRecord {
    ShareRecord { many: u32::try_from(many).unwrap(), of: u32::try_from(of).unwrap() }
}

fn rats() -> Vec<ShareRecord> {
    rows("rat_tumor_bda.csv").iter().map(|row| share(whole(row, 1), whole(row, 2))).collect()
}

#[test]
fn the_rat_tumour_table_comes_out_as_published_and_computed() {
    let all = rats();
    let (prior, before) = (share_prior(&all).unwrap(), share_prior(&all[..70]).unwrap());
    let mut checked = 0;
    for row in rows("rat_tumor_expected.csv") {
        let got = match &row[0] {
            "mle_alpha_71" => prior.alpha,
            "mle_beta_71" => prior.beta,
            "mle_loglik_no_binomial_coef" => prior.log_likelihood,
            "mle_alpha_70" => before.alpha,
            "mle_beta_70" => before.beta,
            // Moments and full Bayes are other methods than this one.
            name => match name.strip_prefix("eb_mle_posterior_mean_group_") {
                Some(group) => prior.of(all[group.parse::<usize>().unwrap() - 1]).2,
                None => continue,
            },
        };
        assert!((got - number(&row, 1)).abs() <= number(&row, 2), "{row:?}: {got}");
        checked += 1;
    }
    assert_eq!(checked, 9);
    assert_eq!(prior.spread, Spread::Differ);
}

/// The chance that at least `wanted` of `units` come up, by the JSON door: units that lose nothing.
fn at_least(wanted: usize, units: usize, alpha: f64, beta: f64) -> f64 {
    let answer = ask(
        "spare",
        &format!(
            r#"{{"lots":[{{"units":[{{"count":{units},"days":0}}],"log_hazard_mean":-7,"log_hazard_sd":0}}],
                "emergence":{{"alpha":{alpha},"beta":{beta}}},"plants_wanted":{wanted},
                "service_level":0.9,"keep_back":0}}"#
        ),
    );
    answer["chance_met"].as_f64().unwrap()
}

/// Every column of `beta_binomial_forecast.csv` (computed by `scipy.stats.betabinom`): what has come up so
/// far shifts the prior, and what comes up of the next units spreads as that says.
#[test]
fn what_comes_up_after_a_record_spreads_as_the_predictive_table_says() {
    for row in rows("beta_binomial_forecast.csv") {
        let prior = spareloop_domain::shrink::SharePrior {
            alpha: number(&row, 0),
            beta: number(&row, 1),
            log_likelihood: 0.0,
            spread: Spread::Differ,
        };
        let (alpha, beta, mean) = prior.of(share(whole(&row, 2), whole(&row, 3)));
        assert!((mean - number(&row, 5)).abs() < 1e-5, "{row:?}: {mean}");
        let units = usize::try_from(whole(&row, 4)).unwrap();
        let chances: Vec<f64> =
            (0..=units).map(|wanted| at_least(wanted, units, alpha, beta)).collect();
        // E[X] = Σ P(X ≥ k) and E[X²] = Σ (2k − 1) P(X ≥ k), over k from 1.
        let of = |weight: fn(f64) -> f64| -> f64 {
            (1..=units).map(|k| weight(k as f64) * chances[k]).sum()
        };
        let (first, second) = (of(|_| 1.0), of(|k| 2.0 * k - 1.0));
        assert!((first - number(&row, 6)).abs() < 1e-3, "{row:?}: mean {first}");
        let sd = (second - first * first).sqrt();
        assert!((sd - number(&row, 7)).abs() < 1e-3, "{row:?}: sd {sd}");
        let nine_in_ten = chances[(9 * units).div_ceil(10)];
        assert!((nine_in_ten - number(&row, 8)).abs() < 1e-5, "{row:?}: {nine_in_ten}");
        for (level, column) in [(0.05, 9), (0.5, 10), (0.95, 11)] {
            // The smallest k with P(X ≤ k) ≥ level, and P(X ≤ k) = 1 − P(X ≥ k + 1).
            let quantile = (0..units).find(|k| 1.0 - chances[*k + 1] >= level);
            assert_eq!(quantile.unwrap_or(units) as u64, whole(&row, column), "{level} of {row:?}");
        }
    }
}

#[test]
fn batting_averages_shrink_about_as_far_as_efron_and_morris_shrank_them() {
    // Efron and Morris, J. Am. Stat. Assoc. 70 (1975) 311: eighteen batters of 1970, from 45 times at
    // bat each. Another method (normal, with a common variance): near, not the same.
    let table = rows("efron_morris.csv");
    let records: Vec<_> = table.iter().map(|row| share(whole(row, 1), 45)).collect();
    let prior = share_prior(&records).unwrap();
    let (mut raw, mut shrunk) = (0.0, 0.0);
    for (row, record) in table.iter().zip(&records) {
        let (own, season) = (f64::from(record.many) / 45.0, number(row, 3));
        let (_, _, mean) = prior.of(*record);
        assert!((mean - number(row, 4)).abs() < 0.025, "{row:?}: {mean}");
        raw += (own - season).powi(2);
        shrunk += (mean - season).powi(2);
    }
    // The paper's point: the rest of the season is foretold better.
    assert!(shrunk < 0.5 * raw, "{shrunk} {raw}");
}

#[test]
fn yields_shrink_as_scipys_negative_binomial_says() {
    let table = rows("yields.csv");
    let count = |text: &str| text.parse::<u32>().unwrap();
    let records: Vec<_> = table
        .iter()
        .map(|row| YieldRecord { from: count(&row[0]), came: count(&row[1]) })
        .collect();
    let prior = yield_prior(&records).unwrap();
    // From the heading of the table.
    assert!((prior.shape - 6.371_953).abs() < 2e-3, "{prior:?}");
    assert!((prior.rate - 1.623_033).abs() < 1e-3, "{prior:?}");
    assert!((prior.log_likelihood + 93.112_558).abs() < 1e-6, "{prior:?}");
    for (row, record) in table.iter().zip(&records) {
        let (_, _, mean) = prior.of(*record);
        assert!((mean - number(row, 2)).abs() < 1e-4, "{row:?}: {mean}");
    }
}

#[test]
fn records_that_differ_by_chance_alone_share_one_rate() {
    let alike = vec![share(9, 10); 12];
    let prior = share_prior(&alike).unwrap();
    assert_eq!(prior.spread, Spread::Alike);
    assert!((prior.of(share(0, 3)).2 - 0.9).abs() < 1e-3);
    let yields = vec![YieldRecord { came: 8, from: 2 }; 12];
    let prior = yield_prior(&yields).unwrap();
    assert_eq!(prior.spread, Spread::Alike);
    assert!((prior.of(YieldRecord { came: 0, from: 1 }).2 - 4.0).abs() < 1e-2);
}

#[test]
fn too_little_makes_no_prior_and_says_so() {
    assert_eq!(share_prior(&[share(3, 4)]), Err(NoPrior::TooFew));
    assert_eq!(share_prior(&[share(0, 4), share(0, 9)]), Err(NoPrior::AtTheEnd));
    assert_eq!(share_prior(&[share(4, 4), share(9, 9), share(0, 0)]), Err(NoPrior::AtTheEnd));
    let none = YieldRecord { came: 0, from: 5 };
    assert_eq!(yield_prior(&[none, none]), Err(NoPrior::AtTheEnd));
    assert_eq!(yield_prior(&[none]), Err(NoPrior::TooFew));
}
