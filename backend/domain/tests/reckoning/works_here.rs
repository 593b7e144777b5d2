//! What works here: a difference is told where the looks bear it, and nowhere else.

use spareloop_domain::dice::Dice;
use spareloop_domain::fit::{LossData, LossLook};
use spareloop_domain::works::{MoreToSettle, NotBorne, Rules, compare, verdict_sentence};

/// Lots of two packings over six varieties, with daily rates; both packings hold every variety.
fn lots(of_each: u32, rates: [f64; 2], seed: u64) -> LossData {
    let mut dice = Dice::new(seed);
    let mut data = LossData::comparing("packing".to_owned(), vec!["variety".to_owned()]);
    for lot in 0..2 * of_each {
        let arm = (lot % 2) as usize;
        let rate = rates[arm] * (0.3 * dice.normal()).exp();
        let variety = format!("v{}", (lot / 2) % 6);
        let mut units = 40;
        for _ in 0..5 {
            let kept = dice.of(units, (-rate * 14.0).exp());
            let look = LossLook { days: 14, inspected: units, lost: units - kept };
            data.add_to(["film wrap", "shavings"][arm], &format!("l{lot}"), &[&variety], look)
                .unwrap();
            units = kept;
        }
    }
    data
}

#[test]
fn a_packing_that_loses_half_as_much_is_told_with_its_range() {
    let data = lots(40, [0.0006, 0.0012], 3);
    let told = compare(&data, Rules::default()).unwrap();
    assert_eq!(told.better.arm, 0);
    assert!(told.better.chance > 0.95, "{told:?}");
    assert_eq!(told.more, MoreToSettle::Nothing);
    // exp(−0.108) − exp(−0.216) = 0.092, before lots differ.
    assert!(told.low < 0.092 && 0.092 < told.high, "{told:?}");
    assert!(told.low < told.expected && told.expected < told.high);
    let sentence = verdict_sentence(&Ok(told));
    assert!(sentence.contains("film wrap better by"), "{sentence}");
}

#[test]
fn the_order_of_the_arms_changes_nothing_but_the_sign() {
    let data = lots(20, [0.0006, 0.0012], 5);
    let mut turned = LossData::comparing("packing".to_owned(), vec!["variety".to_owned()]);
    for lot in (0..data.lots().len()).rev() {
        let name = data.lots().nth(lot).unwrap().to_owned();
        let label = data.labels(0)[data.levels(lot)[0] as usize].clone();
        for look in data.looks(lot) {
            let arm = &data.arms()[data.arm(lot) as usize];
            turned.add_to(arm, &name, &[&label], *look).unwrap();
        }
    }
    let (one, other) =
        (compare(&data, Rules::default()).unwrap(), compare(&turned, Rules::default()).unwrap());
    assert!((one.expected + other.expected).abs() < 1e-3, "{one:?} {other:?}");
    assert!((one.better.chance - other.better.chance).abs() < 1e-3);
    assert_ne!(one.better.arm, other.better.arm);
}

#[test]
fn alike_packings_are_told_apart_no_more_often_than_chance_would() {
    // With a rule of 9 in 10 for either side, 2 in 10 of alike pairs look settled.
    let settled = (0..60)
        .filter_map(|seed| compare(&lots(15, [0.001, 0.001], 100 + seed), Rules::default()).ok())
        .filter(|told| told.more == MoreToSettle::Nothing)
        .count();
    assert!((4..=22).contains(&settled), "{settled} of 60");
}

#[test]
fn more_looks_settle_about_when_it_was_foretold() {
    // Winters in which few looks leave it open and name a number.
    let open = (0..40).filter_map(|seed| {
        let told = compare(&lots(8, [0.0009, 0.0013], 200 + seed), Rules::default()).ok()?;
        match told.more {
            MoreToSettle::Units(more) => Some((seed, more)),
            _ => None,
        }
    });
    let (mut settled, mut tried) = (0, 0);
    for (seed, more) in open.filter(|(_, more)| *more < 4000).take(8) {
        // Thrice what was foretold, half of it in each arm, in lots of 40.
        let lots_more = u32::try_from(3 * more / 80).unwrap() + 1;
        let many = lots(8 + lots_more, [0.0009, 0.0013], 200 + seed);
        settled += u32::from(compare(&many, Rules::default()).unwrap().better.chance >= 0.9);
        tried += 1;
    }
    assert!(tried >= 5 && settled > tried / 2, "{settled} of {tried}");
}

#[test]
fn what_the_looks_do_not_bear_is_refused_and_says_why() {
    let few = compare(&lots(3, [0.001, 0.002], 1), Rules::default()).unwrap_err();
    assert!(matches!(few, NotBorne::FewLots { .. }), "{few}");

    let mut apart = LossData::comparing("packing".to_owned(), vec!["variety".to_owned()]);
    for lot in 0..20 {
        let (arm, variety) =
            if lot % 2 == 0 { ("film wrap", "Zindle Ember") } else { ("sand", "Mottle Tam") };
        let look = LossLook { days: 30, inspected: 40, lost: 2 };
        apart.add_to(arm, &format!("l{lot}"), &[variety], look).unwrap();
    }
    let confounded = compare(&apart, Rules::default()).unwrap_err();
    let words = confounded.to_string();
    assert!(words.contains("Zindle Ember") || words.contains("Mottle Tam"), "{words}");
    assert!(words.contains("the variety may have made the difference"), "{words}");

    let none = compare(&lots(10, [1e-12, 0.002], 1), Rules::default()).unwrap_err();
    assert!(matches!(none, NotBorne::NothingLost { .. }), "{none}");
    let one = LossData::comparing("packing".to_owned(), vec![]);
    assert!(matches!(compare(&one, Rules::default()), Err(NotBorne::OneArm(_))));
}
