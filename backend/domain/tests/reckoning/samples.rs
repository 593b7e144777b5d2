//! How many to look at and what a look proves.

use proptest::prelude::*;
use spareloop_domain::sampling::{
    Aim, NotAttainable, SampleSize, SamplingError, detection, sample_size, sample_size_of_large_lot,
};

use crate::{number, rows, whole};

fn smallest(size: SampleSize) -> Option<u64> {
    match size {
        SampleSize::Attainable { sample_size, .. } => Some(sample_size),
        SampleSize::NotAttainable(_) => None,
    }
}

#[test]
fn samples_of_a_lot_are_those_of_ispm_31() {
    for row in rows("ispm31.csv") {
        let aim = Aim::new(number(&row, 2) / 100.0, number(&row, 0), 1.0).unwrap();
        let size = sample_size(whole(&row, 1), aim).unwrap();
        let SampleSize::Attainable { affected_units, sample_size, confidence_reached } = size
        else {
            panic!("not attainable: {row:?}");
        };
        assert_eq!(
            (affected_units, sample_size),
            (Some(whole(&row, 3)), whole(&row, 4)),
            "{row:?}"
        );
        assert!(confidence_reached >= number(&row, 0) - 1e-9, "{row:?}");
    }
}

#[test]
fn samples_of_a_large_lot_are_the_binomial_ones_of_ispm_31() {
    for row in rows("ispm31_binomial_poisson.csv") {
        let aim = Aim::new(number(&row, 2) / 100.0, number(&row, 0), number(&row, 1)).unwrap();
        assert_eq!(smallest(sample_size_of_large_lot(aim)), Some(whole(&row, 3)), "{row:?}");
    }
}

#[test]
fn rare_trouble_in_a_large_lot_gets_the_smallest_sample_or_none_at_all() {
    for level in [1e-3, 1e-6, 1e-9, 1e-12, 1e-15, 1e-18, 1e-300] {
        match sample_size_of_large_lot(Aim::new(level, 0.95, 1.0).unwrap()) {
            SampleSize::Attainable { sample_size, confidence_reached, .. } => {
                let miss = |n: u64| (n as f64 * (-level).ln_1p()).exp();
                let accepted = (1.0 - 0.95) * (1.0 + 1e-9);
                assert!(confidence_reached >= 0.95 - 1e-9, "{level}: {confidence_reached}");
                assert!(miss(sample_size) <= accepted, "{level}: {sample_size} miss too often");
                assert!(miss(sample_size - 1) > accepted, "{level}: fewer than {sample_size} do");
            }
            SampleSize::NotAttainable(why) => {
                assert!(level < 1e-14, "{level}");
                assert_eq!(why, NotAttainable::BeyondCounting);
            }
        }
    }
}

#[test]
fn published_samples_come_out_where_their_authors_did_not_round() {
    let mut checked = 0;
    for row in rows("detection_published.csv").iter().filter(|row| !row[5].is_empty()) {
        let (share, efficacy) = (number(row, 1), number(row, 2));
        let size = if &row[0] == "inf" {
            sample_size_of_large_lot(Aim::new(share, number(row, 3), efficacy).unwrap())
        } else {
            let lot = whole(row, 0);
            let aim = Aim::new(share / number(row, 0), number(row, 3), efficacy).unwrap();
            sample_size(lot, aim).unwrap()
        };
        assert_eq!(smallest(size), Some(whole(row, 5)), "{row:?}");
        checked += 1;
    }
    assert_eq!(checked, 12);
}

#[test]
fn one_affected_unit_and_a_weak_look_is_not_attainable_even_by_looking_at_all() {
    // RSurveillance's n.hypergeo answers NA for N = 80, d = 1, sensitivity 0.8 (CRAN, its example).
    let aim = Aim::new(1.0 / 80.0, 0.95, 0.8).unwrap();
    let size = sample_size(80, aim).unwrap();
    assert_eq!(size, SampleSize::NotAttainable(NotAttainable::LookTooWeak));
}

#[test]
fn a_level_below_one_unit_is_not_attainable_and_never_0() {
    let size = sample_size(10, Aim::new(0.05, 0.95, 1.0).unwrap()).unwrap();
    assert_eq!(size, SampleSize::NotAttainable(NotAttainable::LessThanOneUnit));
}

#[test]
fn impossible_shares_are_refused() {
    assert_eq!(Aim::new(0.0, 0.95, 1.0), Err(SamplingError::Level));
    assert_eq!(Aim::new(f64::NAN, 0.95, 1.0), Err(SamplingError::Level));
    assert_eq!(Aim::new(0.05, 1.0, 1.0), Err(SamplingError::Confidence));
    assert_eq!(Aim::new(0.05, 0.95, 0.0), Err(SamplingError::Efficacy));
    assert_eq!(detection(10, 11, 1, 1.0), Err(SamplingError::Affected));
    assert_eq!(detection(10, 1, 11, 1.0), Err(SamplingError::Sample));
    assert_eq!(detection(0, 0, 0, 1.0), Err(SamplingError::LotSize));
}

#[test]
fn a_look_at_some_finds_the_trouble_as_often_as_counting_the_draws_says() {
    // 1 − C(57, 20)/C(60, 20) = 1 − (40·39·38)/(60·59·58), by hand.
    let by_hand = 1.0 - (40.0 * 39.0 * 38.0) / (60.0 * 59.0 * 58.0);
    assert!((detection(60, 3, 20, 1.0).unwrap() - by_hand).abs() < 1e-14);
    // One affected unit, all looked at: the look's own efficacy.
    assert!((detection(60, 1, 60, 0.7).unwrap() - 0.7).abs() < 1e-14);
}

proptest! {
    #[test]
    fn a_sample_one_smaller_misses_too_often(
        lot in 1_u64..3000, level in 0.001..1.0, confidence in 0.05..0.999, efficacy in 0.05..1.0,
    ) {
        let aim = Aim::new(level, confidence, efficacy).unwrap();
        if let SampleSize::Attainable { affected_units: Some(affected), sample_size, .. } =
            sample_size(lot, aim).unwrap()
        {
            let miss = |n| 1.0 - detection(lot, affected, n, efficacy).unwrap();
            prop_assert!(miss(sample_size) <= (1.0 - confidence) * (1.0 + 1e-8));
            prop_assert!(miss(sample_size - 1) > 1.0 - confidence);
        }
    }

    #[test]
    fn looking_at_more_never_finds_less(
        lot in 2_u64..500, affected in 0_u64..500, sample in 0_u64..499, efficacy in 0.05..1.0,
    ) {
        let (affected, sample) = (affected.min(lot), sample.min(lot - 1));
        let fewer = detection(lot, affected, sample, efficacy).unwrap();
        let more = detection(lot, affected, sample + 1, efficacy).unwrap();
        prop_assert!(more >= fewer - 1e-13);
    }
}
