//! How sure a share is.

use proptest::prelude::*;
use spareloop_domain::interval::{Share, ShareError};

use crate::{number, rows, whole};

#[test]
fn likely_ranges_are_those_of_newcombe_and_r() {
    for row in rows("binomial_ci.csv") {
        let share = Share::new(whole(&row, 0), whole(&row, 1), number(&row, 5)).unwrap();
        let range = match &row[2] {
            "wilson" => share.wilson(),
            "exact" => share.exact(),
            other => panic!("no such method: {other}"),
        };
        // Each source printed to its own number of places.
        let close = |got: f64, printed: &str| {
            let places = printed.split('.').nth(1).map_or(0, str::len).clamp(4, 12);
            let wanted: f64 = printed.parse().unwrap();
            (got - wanted).abs() <= 0.6 * 10_f64.powi(-i32::try_from(places).unwrap())
        };
        assert!(close(range.low, &row[3]) && close(range.high, &row[4]), "{row:?}: {range:?}");
    }
}

#[test]
fn impossible_counts_are_refused() {
    assert_eq!(Share::new(2, 1, 0.9), Err(ShareError::Successes));
    assert_eq!(Share::new(0, 0, 0.9), Err(ShareError::Trials));
    assert_eq!(Share::new(0, 1, 1.0), Err(ShareError::Confidence));
}

#[test]
fn none_of_ten_leaves_the_exact_upper_end_that_is_reckoned_by_hand() {
    // (1 − p)^10 = 0.025
    let by_hand = 1.0 - 0.025_f64.powf(0.1);
    let range = Share::new(0, 10, 0.95).unwrap().exact();
    assert!(range.low.abs() < f64::EPSILON && (range.high - by_hand).abs() < 1e-14);
}

proptest! {
    #[test]
    fn both_ranges_hold_the_share_seen_and_grow_with_how_sure_to_be(
        trials in 1_u64..2000, part in 0.0..=1.0, confidence in 0.05..0.98,
    ) {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let seen = (part * trials as f64) as u64;
        let share = seen as f64 / trials as f64;
        let at = |confidence| Share::new(seen, trials, confidence).unwrap();
        for (narrow, wide) in [
            (at(confidence).wilson(), at(confidence + 0.01).wilson()),
            (at(confidence).exact(), at(confidence + 0.01).exact()),
        ] {
            prop_assert!(0.0 <= wide.low && wide.low <= narrow.low + 1e-12);
            prop_assert!(narrow.low <= share + 1e-12 && share <= narrow.high + 1e-12);
            prop_assert!(narrow.high <= wide.high + 1e-12 && wide.high <= 1.0);
        }
    }
}
