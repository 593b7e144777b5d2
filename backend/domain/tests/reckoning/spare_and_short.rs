//! What can go, what is lacking.

use proptest::prelude::*;
use spareloop_domain::forecast::{
    Emergence, EmergenceRate, LogHazard, LotInStore, PlanTerms, SeenGroup, ServiceLevel, Short,
    Spare, SpareQuestion, spare,
};
use spareloop_domain::words::Count;

use crate::{agrees, ask, number, rows, whole};

fn lot(groups: &[(u32, u32)], mean: f64, sd: f64) -> LotInStore {
    let groups = groups.iter().map(|(count, days)| SeenGroup { count: *count, days: *days });
    LotInStore { groups: groups.collect(), hazard: LogHazard::new(mean, sd).unwrap() }
}

fn terms(plants_wanted: u64, level: f64, keep_back: u64) -> PlanTerms {
    PlanTerms { plants_wanted, service_level: ServiceLevel::new(level).unwrap(), keep_back }
}

/// The question after `units` were taken: from the last lot first, in it from the last group.
fn after_taking(question: &SpareQuestion, units: u32) -> SpareQuestion {
    let (mut taken, mut left) = (question.clone(), units);
    for group in taken.lots.iter_mut().rev().flat_map(|lot| lot.groups.iter_mut().rev()) {
        let take = group.count.min(left);
        group.count -= take;
        left -= take;
    }
    taken
}

fn chance_met(question: &SpareQuestion) -> f64 {
    spare(question).unwrap().chance_met
}

#[test]
fn spare_and_short_are_those_of_direct_sums() {
    for row in rows("spare.csv") {
        let answer = ask("spare", &row[0]);
        assert!(
            agrees(answer["expected_plants"].as_f64().unwrap(), number(&row, 1), 1e-9),
            "{row:?}"
        );
        assert!(agrees(answer["chance_met"].as_f64().unwrap(), number(&row, 2), 1e-9), "{row:?}");
        assert_eq!(answer["spare"].as_u64(), Some(whole(&row, 3)), "{row:?}");
        assert_eq!(answer["short"].as_u64(), Some(whole(&row, 4)), "{row:?}");
    }
}

#[test]
fn plants_that_come_up_follow_the_beta_binomial() {
    for row in rows("beta_binomial_forecast.csv") {
        let prior = EmergenceRate::new(number(&row, 0), number(&row, 1)).unwrap();
        let [came_up, planted, future] = [2, 3, 4].map(|column| whole(&row, column));
        let count = |n: u64| Count::new(i64::try_from(n).unwrap()).unwrap();
        let record = Emergence { planted: count(planted), came_up: count(came_up) };
        let emergence = prior.after(record);
        // Seen alive on the planting day, so that only emergence is at stake.
        let lots = vec![lot(&[(u32::try_from(future).unwrap(), 0)], -7.0, 0.5)];
        let ask = |wanted| {
            let terms = terms(wanted, 0.5, 0);
            spare(&SpareQuestion { lots: lots.clone(), shared_sd: 0.0, emergence, terms }).unwrap()
        };
        assert!((ask(1).expected_plants - number(&row, 6)).abs() < 5.1e-5, "{row:?}");
        let nine_in_ten = (future * 9).div_ceil(10);
        let met = ask(nine_in_ten).chance_met;
        assert!((met - number(&row, 8)).abs() < 5.1e-7, "{row:?}: {met}");
        for (level, column) in [(0.05, 9), (0.5, 10), (0.95, 11)] {
            let quantile = (0..=future).find(|k| 1.0 - ask(k + 1).chance_met >= level).unwrap();
            assert_eq!(quantile, whole(&row, column), "{level} of {row:?}");
        }
    }
}

/// `SplitMix64` (Steele, Lea and Flood 2014): enough for a check by drawing.
struct Dice(u64);

impl Dice {
    fn share(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        let (u, v) = (1.0 - self.share(), self.share());
        (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
    }

    fn gamma(&mut self, shape: u32) -> f64 {
        (0..shape).map(|_| -(1.0 - self.share()).ln()).sum()
    }
}

#[test]
fn drawing_winters_and_springs_one_by_one_meets_the_plan_as_often() {
    let question = SpareQuestion {
        lots: vec![lot(&[(8, 100), (6, 40)], -5.5, 0.7), lot(&[(7, 150)], -6.0, 0.3)],
        shared_sd: 0.6,
        emergence: EmergenceRate::new(9.0, 2.0).unwrap(),
        terms: terms(13, 0.9, 0),
    };
    let (mut dice, mut met, mut plants) = (Dice(7), 0_u32, 0_u32);
    let draws = 60_000_u32;
    for _ in 0..draws {
        let shared = question.shared_sd * dice.normal();
        let (up, down) = (dice.gamma(9), dice.gamma(2));
        let comes_up = up / (up + down);
        let mut came_up = 0;
        for lot in &question.lots {
            let rate = (lot.hazard.mean() + shared + lot.hazard.sd() * dice.normal()).exp();
            for group in &lot.groups {
                let alive = (-rate * f64::from(group.days)).exp();
                for _ in 0..group.count {
                    came_up += u32::from(dice.share() < alive && dice.share() < comes_up);
                }
            }
        }
        plants += came_up;
        met += u32::from(came_up >= 13);
    }
    let answer = spare(&question).unwrap();
    let drawn = f64::from(met) / f64::from(draws);
    // Four standard errors: 4·√(0.25/60000) = 0.0082; plants have an sd below 5.
    assert!((answer.chance_met - drawn).abs() < 0.0082, "{answer:?} {drawn}");
    assert!((answer.expected_plants - f64::from(plants) / f64::from(draws)).abs() < 0.082);
}

#[test]
fn no_plants_wanted_leaves_everything_spare_but_what_is_kept_back() {
    let lots = vec![lot(&[(20, 100)], -6.0, 0.5)];
    let question = SpareQuestion {
        lots,
        shared_sd: 0.0,
        emergence: EmergenceRate::default(),
        terms: terms(0, 0.9, 3),
    };
    let answer = spare(&question).unwrap();
    assert_eq!((answer.spare, answer.short), (17, Short::Units(0)));
    assert!((answer.chance_met - 1.0).abs() < f64::EPSILON);
}

#[test]
fn no_stock_at_all_is_short_by_what_springs_ask_for() {
    let question = SpareQuestion {
        lots: vec![],
        shared_sd: 0.3,
        emergence: EmergenceRate::default(),
        terms: PlanTerms::wanting(20),
    };
    let Spare { spare: units, short: Short::Units(short), .. } = spare(&question).unwrap() else {
        panic!("a plan of 20 is never short by a million");
    };
    assert_eq!(units, 0);
    assert!(short > 20 && short < 40, "{short}");
}

#[test]
fn a_short_beyond_a_million_is_not_reckoned() {
    let document = r#"{"lots":[{"units":[{"count":9,"days":8}],"log_hazard_mean":-7,"log_hazard_sd":0.5}],
        "emergence":{"alpha":18,"beta":2},"plants_wanted":2000000,"service_level":0.9,"keep_back":0}"#;
    let answer = ask("spare", document);
    assert!(answer["short"].is_null());
    assert_eq!(answer["reason"], "short by more than 1,000,000 units");
    assert_eq!(answer["spare"], 0);
}

#[test]
fn what_is_kept_back_is_the_greater_of_a_tenth_rounded_up_and_three() {
    // Common practice, no source.
    for (wanted, kept) in [(0, 3), (1, 3), (30, 3), (31, 4), (40, 4), (41, 5), (100, 10)] {
        assert_eq!(PlanTerms::wanting(wanted).keep_back, kept, "{wanted}");
    }
}

fn questions() -> impl Strategy<Value = SpareQuestion> {
    let group = (0_u32..12, 0_u32..200);
    let one = (proptest::collection::vec(group, 1..3), -8.0..-4.0, 0.0..1.2)
        .prop_map(|(groups, mean, sd)| lot(&groups, mean, sd));
    let shared = prop_oneof![Just(0.0), 0.05..1.0];
    let rate = (0.5..30.0, 0.5..5.0).prop_map(|(a, b)| EmergenceRate::new(a, b).unwrap());
    let plan = (1_u64..25, 0.05..0.99, 0_u64..4).prop_map(|(w, l, k)| terms(w, l, k));
    (proptest::collection::vec(one, 1..4), shared, rate, plan).prop_map(
        |(lots, shared_sd, emergence, terms)| SpareQuestion { lots, shared_sd, emergence, terms },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn spare_is_the_most_that_can_go_and_short_the_least_that_reaches_the_plan(
        question in questions(),
    ) {
        let mut question = question;
        question.terms.keep_back = 0;
        let level = question.terms.service_level.get();
        let answer = spare(&question).unwrap();
        prop_assert!(answer.spare == 0 || answer.short == Short::Units(0));
        if answer.chance_met >= level {
            let total: u32 = question.lots.iter().flat_map(|lot| &lot.groups).map(|g| g.count).sum();
            prop_assert!(chance_met(&after_taking(&question, answer.spare)) >= level - 1e-9);
            prop_assert!(answer.spare < total);
            prop_assert!(chance_met(&after_taking(&question, answer.spare + 1)) < level + 1e-9);
        } else if let Short::Units(short) = answer.short {
            // A unit more at planting is one seen alive on that day.
            let with = |units| {
                let mut more = question.clone();
                more.lots.push(lot(&[(units, 0)], -7.0, 0.0));
                chance_met(&more)
            };
            prop_assert!(short > 0 && with(short) >= level - 1e-9);
            prop_assert!(with(short - 1) < level + 1e-9);
        }
    }

    #[test]
    fn taking_what_is_spare_and_what_is_kept_back_still_meets_the_plan(question in questions()) {
        let answer = spare(&question).unwrap();
        if answer.spare > 0 {
            let keep_back = u32::try_from(question.terms.keep_back).unwrap();
            let taken = after_taking(&question, answer.spare + keep_back);
            prop_assert!(chance_met(&taken) >= question.terms.service_level.get() - 1e-9);
        }
    }

    #[test]
    fn wanting_more_plants_leaves_no_more_spare(question in questions()) {
        let mut more = question.clone();
        more.terms.plants_wanted += 1;
        let (less, more) = (spare(&question).unwrap(), spare(&more).unwrap());
        prop_assert!(more.spare <= less.spare && more.chance_met <= less.chance_met + 1e-12);
        if let (Short::Units(before), Short::Units(after)) = (less.short, more.short) {
            prop_assert!(after >= before);
        }
    }
}
