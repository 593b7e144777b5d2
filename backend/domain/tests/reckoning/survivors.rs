//! What is left of a lot, and what its checks say.

use proptest::prelude::*;
use spareloop_domain::chance::{Distribution, Tail};
use spareloop_domain::forecast::{
    Basis, FIRST_SEASON, LogHazard, LossRow, LotInStore, SeenGroup, posterior, survivors,
    survivors_of_all, survivors_under,
};

use crate::{agrees, ask, number, rows, whole};

fn group(count: u32, days: u32) -> SeenGroup {
    SeenGroup { count, days }
}

#[test]
fn forecasts_of_losses_are_those_of_direct_sums() {
    for row in rows("loss_forecast.csv") {
        let answer = ask("loss-forecast", &row[0]);
        assert!(agrees(answer["mean"].as_f64().unwrap(), number(&row, 1), 1e-9), "{row:?}");
        for (name, column) in [("p10", 2), ("p50", 3), ("p90", 4)] {
            assert_eq!(answer[name].as_u64(), Some(whole(&row, column)), "{name} of {row:?}");
        }
        let at = usize::try_from(whole(&row, 5)).unwrap();
        let entry = &answer["chance_at_least"][at];
        assert_eq!(entry["count"].as_u64(), Some(whole(&row, 5)));
        assert!(agrees(entry["chance"].as_f64().unwrap(), number(&row, 6), 1e-9), "{row:?}");
        assert_eq!(answer["chance_at_least"][0]["chance"].as_f64(), Some(1.0));
    }
}

#[test]
fn a_known_rate_leaves_a_plain_binomial() {
    let hazard = LogHazard::new((0.01_f64).ln(), 0.0).unwrap();
    let left = survivors_under(&[group(2, 30), group(1, 30)], hazard).unwrap();
    let p = (-0.3_f64).exp();
    assert!(agrees(left.distribution.chance(3), p.powi(3), 1e-14));
    assert!(agrees(left.distribution.chance(1), 3.0 * p * (1.0 - p).powi(2), 1e-14));
    assert!(agrees(left.mean, 3.0 * p, 1e-14));
}

#[test]
fn units_seen_today_are_all_there_and_nothing_is_left_of_nothing() {
    let left = survivors(&[group(12, 0)], &posterior(&[])).unwrap();
    assert_eq!((left.p10, left.p90), (12, 12));
    let none = survivors(&[], &posterior(&[])).unwrap();
    assert_eq!((none.p10, none.p90, none.mean.to_bits()), (0, 0, 0.0_f64.to_bits()));
}

#[test]
fn the_first_season_guess_is_the_one_that_is_stated() {
    // Stated with the prior: median 90 % over 180 days, 80 % range about 65 to 97 %.
    let alive = |z: f64| (-180.0 * (FIRST_SEASON.mean() + z * FIRST_SEASON.sd()).exp()).exp();
    assert!((alive(0.0) - 0.90).abs() < 0.005);
    assert!((alive(1.2816) - 0.65).abs() < 0.02);
    assert!((alive(-1.2816) - 0.97).abs() < 0.01);
}

#[test]
fn a_lot_s_belief_is_at_the_top_of_its_posterior() {
    let looks = [(14, 100, 3), (21, 97, 0), (30, 95, 11)];
    let looks = looks.map(|(days, inspected, lost)| LossRow { days, inspected, lost });
    let belief = posterior(&looks);
    let log_density = |x: f64| {
        let of_row = |row: &LossRow| {
            let risk = f64::from(row.days) * x.exp();
            f64::from(row.lost) * (-(-risk).exp_m1()).ln()
                - f64::from(row.inspected - row.lost) * risk
        };
        looks.iter().map(of_row).sum::<f64>() - 0.5 * ((x + 7.44) / 1.1).powi(2)
    };
    let top = log_density(belief.log_hazard_mean());
    for aside in [-1e-4, 1e-4] {
        assert!(log_density(belief.log_hazard_mean() + aside) < top);
    }
    assert_eq!(belief.basis, Basis::PriorAndOwnChecks { looks: 3, inspected: 292, lost: 14 });
}

#[test]
fn looks_that_tell_nothing_leave_the_guess() {
    let nothing =
        [LossRow { days: 0, inspected: 9, lost: 0 }, LossRow { days: 9, inspected: 0, lost: 0 }];
    assert_eq!(posterior(&nothing), posterior(&[]));
}

#[test]
fn a_lot_that_is_lost_whole_is_believed_to_be_bad_and_the_answer_stays_a_number() {
    let belief = posterior(&[LossRow { days: 3000, inspected: 1_000_000, lost: 1_000_000 }]);
    assert!(belief.log_hazard_mean() > FIRST_SEASON.mean());
    assert!(belief.log_hazard_sd().is_finite() && belief.log_hazard_sd() > 0.0);
}

#[test]
fn lots_that_share_their_luck_spread_wider_than_lots_that_do_not() {
    let hazard = LogHazard::new(-6.0, 0.0).unwrap();
    let lots = vec![LotInStore { groups: vec![group(20, 120)], hazard }; 10];
    let apart = survivors_of_all(&lots, 0.0).unwrap();
    let alike = survivors_of_all(&lots, 0.5).unwrap();
    assert!(alike.p90 - alike.p10 > 2 * (apart.p90 - apart.p10));
    // Nothing but the shared part: the same as one lot of all units with that spread.
    let one = survivors_under(&[group(200, 120)], LogHazard::new(-6.0, 0.5).unwrap()).unwrap();
    for k in 0..=200 {
        assert!((alike.distribution.chance(k) - one.distribution.chance(k)).abs() < 1e-12);
    }
    assert!(agrees(alike.mean, one.mean, 1e-12));
}

#[test]
fn sums_and_quantiles_of_small_tables_are_those_reckoned_by_hand() {
    let two_dice = |n| Distribution::binomial(n, 1.0 / 6.0, 5.0 / 6.0, Tail::Full);
    let sum = two_dice(3).convolve(&two_dice(4), Tail::Full);
    for k in 0..=7 {
        assert!(agrees(sum.chance(k), two_dice(7).chance(k), 1e-13));
    }
    assert_eq!(two_dice(1).quantile(5.0 / 6.0), 0);
    assert_eq!(two_dice(1).quantile(5.0 / 6.0 + 1e-9), 1);
}

/// The chances of every number of survivors, reckoned the long way: unit by unit, each of them alive or
/// lost, at each of very many rates of an even grid; no table, ratio or convolution of ours.
fn the_long_way(lots: &[(Vec<SeenGroup>, f64, f64)], shared_sd: f64) -> Vec<f64> {
    let nodes = |sd: f64, half: i32| -> Vec<(f64, f64)> {
        let reach = if sd == 0.0 { 0 } else { half };
        let at = |node: i32| 8.0 * f64::from(node) / f64::from(half);
        let density = |node: i32| (-0.5 * at(node).powi(2)).exp();
        let sum: f64 = (-reach..=reach).map(density).sum();
        (-reach..=reach).map(|node| (at(node) * sd, density(node) / sum)).collect()
    };
    let one_more = |chances: &[f64], alive: f64| -> Vec<f64> {
        let mut more = vec![0.0; chances.len() + 1];
        for (k, chance) in chances.iter().enumerate() {
            more[k] += chance * (1.0 - alive);
            more[k + 1] += chance * alive;
        }
        more
    };
    let of_lot = |(groups, mean, sd): &(Vec<SeenGroup>, f64, f64), shift: f64| -> Vec<f64> {
        let total: u32 = groups.iter().map(|g| g.count).sum();
        let mut sum = vec![0.0; total as usize + 1];
        for (own, weight) in nodes(*sd, 300) {
            let mut chances = vec![1.0];
            for g in groups {
                let alive = (-f64::from(g.days) * (mean + shift + own).exp()).exp();
                for _ in 0..g.count {
                    chances = one_more(&chances, alive);
                }
            }
            for (all, chance) in sum.iter_mut().zip(chances) {
                *all += weight * chance;
            }
        }
        sum
    };
    let mut all: Vec<f64> = Vec::new();
    for (shift, weight) in nodes(shared_sd, 100) {
        let mut together = vec![1.0];
        for lot in lots {
            let own = of_lot(lot, shift);
            let mut sum = vec![0.0; together.len() + own.len() - 1];
            for (a, one) in together.iter().enumerate() {
                for (b, other) in own.iter().enumerate() {
                    sum[a + b] += one * other;
                }
            }
            together = sum;
        }
        all.resize(together.len(), 0.0);
        for (sum, chance) in all.iter_mut().zip(together) {
            *sum += weight * chance;
        }
    }
    all
}

fn small_groups() -> impl Strategy<Value = Vec<SeenGroup>> {
    proptest::collection::vec((0_u32..7, 0_u32..250).prop_map(|(c, d)| group(c, d)), 1..4)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(ProptestConfig::default().cases / 8))]

    #[test]
    fn survivors_are_those_counted_unit_by_unit(
        groups in small_groups(), mean in -9.0..-3.0, sd in prop_oneof![Just(0.0), 0.05..1.3],
    ) {
        let left = survivors_under(&groups, LogHazard::new(mean, sd).unwrap()).unwrap();
        let wanted = the_long_way(&[(groups, mean, sd)], 0.0);
        for (k, chance) in wanted.iter().enumerate() {
            prop_assert!((left.distribution.chance(k) - chance).abs() < 1e-10, "{k}: {chance}");
        }
        let mean: f64 = wanted.iter().enumerate().map(|(k, chance)| k as f64 * chance).sum();
        prop_assert!((left.mean - mean).abs() < 1e-9);
    }

    #[test]
    fn survivors_of_lots_that_share_their_luck_are_those_counted_unit_by_unit(
        lots in proptest::collection::vec((small_groups(), -8.0..-4.0, 0.0..0.9), 1..4),
        shared_sd in prop_oneof![Just(0.0), 0.05..0.9],
    ) {
        let stored: Vec<_> = lots
            .iter()
            .map(|(groups, mean, sd)| LotInStore {
                groups: groups.clone(),
                hazard: LogHazard::new(*mean, *sd).unwrap(),
            })
            .collect();
        let left = survivors_of_all(&stored, shared_sd).unwrap();
        for (k, chance) in the_long_way(&lots, shared_sd).iter().enumerate() {
            prop_assert!((left.distribution.chance(k) - chance).abs() < 1e-9, "{k}: {chance}");
        }
    }
}

fn groups() -> impl Strategy<Value = Vec<SeenGroup>> {
    proptest::collection::vec((0_u32..60, 0_u32..250).prop_map(|(c, d)| group(c, d)), 1..5)
}

proptest! {
    #[test]
    fn likely_ranges_are_in_order_and_chances_fall(
        groups in groups(), mean in -12.0..-1.0, sd in 0.0..4.0,
    ) {
        let left = survivors_under(&groups, LogHazard::new(mean, sd).unwrap()).unwrap();
        let total: u32 = groups.iter().map(|g| g.count).sum();
        prop_assert!(left.p10 <= left.p50 && left.p50 <= left.p90 && left.p90 <= total);
        prop_assert!((left.mean - left.distribution.mean()).abs() < 1e-9);
        let each = left.distribution.at_least_each(total as usize);
        prop_assert!(each.windows(2).all(|pair| pair[0] >= pair[1]));
        prop_assert!(each.iter().enumerate().all(|(k, p)| (p - left.distribution.at_least(k)).abs() < 1e-12));
    }

    #[test]
    fn the_order_of_groups_and_their_splitting_change_nothing(
        groups in groups(), mean in -9.0..-2.0, sd in 0.0..2.0,
    ) {
        let hazard = LogHazard::new(mean, sd).unwrap();
        let plain = survivors_under(&groups, hazard).unwrap();
        let split: Vec<_> = groups
            .iter()
            .rev()
            .flat_map(|g| [group(g.count / 2, g.days), group(g.count - g.count / 2, g.days)])
            .collect();
        let again = survivors_under(&split, hazard).unwrap();
        prop_assert_eq!((plain.p10, plain.p50, plain.p90), (again.p10, again.p50, again.p90));
    }
}
