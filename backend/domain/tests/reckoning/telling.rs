//! How much a look tonight would tell of the survivors at planting.

use proptest::prelude::*;
use spareloop_domain::forecast::{
    LogHazard, LookTonight, SeenGroup, Survivors, survivors_under, telling,
};

fn group(count: u32, days: u32) -> SeenGroup {
    SeenGroup { count, days }
}

fn look(seen: &[SeenGroup], rest: &[SeenGroup], days_to_planting: u32) -> LookTonight {
    LookTonight { looked_at: seen.to_vec(), left_alone: rest.to_vec(), days_to_planting }
}

/// The variance of a table of chances, summed plainly.
fn variance(left: &Survivors) -> f64 {
    left.distribution.iter().map(|(k, chance)| chance * (k as f64 - left.mean).powi(2)).sum()
}

#[test]
fn with_a_known_rate_a_look_tells_the_coins_that_have_fallen() {
    // λ = 0.002 a day, 30 of 50 looked at after 40 days, 100 days to go. By hand: of the 30, lost
    // ~ Binomial(30, q), q = 1 − e^−0.08, and each that lives counts s = e^−0.2 at planting, so the
    // look settles s²·30·q·(1 − q); what is there in all is 50·a·(1 − a), a = e^−0.28.
    let hazard = LogHazard::new(0.002_f64.ln(), 0.0).unwrap();
    let told = telling(&look(&[group(30, 40)], &[group(20, 40)], 100), hazard);
    let (q, s, a) = (1.0 - (-0.08_f64).exp(), (-0.2_f64).exp(), (-0.28_f64).exp());
    assert!((told.variance_told - s * s * 30.0 * q * (1.0 - q)).abs() < 1e-10, "{told:?}");
    assert!((told.variance_now - 50.0 * a * (1.0 - a)).abs() < 1e-10, "{told:?}");
}

#[test]
fn units_seen_an_hour_ago_tell_nothing() {
    let hazard = LogHazard::new(-6.5, 1.1).unwrap();
    let told = telling(&look(&[group(40, 0)], &[], 120), hazard);
    assert!(told.variance_told < 1e-9 && told.variance_now > 1.0, "{told:?}");
}

#[test]
fn one_unit_on_the_eve_of_planting_is_settled_by_its_look() {
    // Seen 10 days ago, planted tonight: nothing is left to chance after the look.
    let hazard = LogHazard::new(-3.0, 0.8).unwrap();
    let told = telling(&look(&[group(1, 10)], &[], 0), hazard);
    assert!((told.variance_told - told.variance_now).abs() < 1e-10, "{told:?}");
}

proptest! {
    #[test]
    fn what_is_uncertain_now_is_what_the_forecast_says(
        seen in 0_u32..60, rest in 1_u32..60, days in 0_u32..90, other in 0_u32..90,
        ahead in 0_u32..200, mean in -10.0..-4.0, sd in 0.0..1.5,
    ) {
        let hazard = LogHazard::new(mean, sd).unwrap();
        let told = telling(&look(&[group(seen, days)], &[group(rest, other)], ahead), hazard);
        let left = survivors_under(
            &[group(seen, days + ahead), group(rest, other + ahead)], hazard,
        ).unwrap();
        let wanted = variance(&left);
        prop_assert!((told.variance_now - wanted).abs() < 1e-8 * (1.0 + wanted));
        prop_assert!((0.0..=told.variance_now).contains(&told.variance_told));
    }

    #[test]
    fn looking_at_one_more_never_tells_less(
        seen in 0_u32..40, rest in 1_u32..40, days in 1_u32..90, ahead in 0_u32..200,
        mean in -10.0..-4.0, sd in 0.0..1.5,
    ) {
        let hazard = LogHazard::new(mean, sd).unwrap();
        let tells = |more| {
            let (seen, rest) = (group(seen + more, days), group(rest - more, days));
            telling(&look(&[seen], &[rest], ahead), hazard).variance_told
        };
        prop_assert!(tells(1) >= tells(0) - 1e-9);
    }
}
