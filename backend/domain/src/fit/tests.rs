//! What the rooms of the fit must agree on with one another.
#![allow(clippy::unwrap_used)]

use proptest::prelude::*;

use super::laplace::Value;
use super::*;
use crate::dice::Dice;

/// Lots of three varieties and two packings, drawn anyhow; half of the time at odd ends, too.
fn some(seed: u64, lots: u32) -> LossData {
    let mut dice = Dice::new(seed);
    let odd = dice.happens(50);
    let mut data = LossData::new(vec!["variety".to_owned(), "packing".to_owned()]);
    for lot in 0..lots {
        let labels = [format!("v{}", dice.below(3)), format!("p{}", dice.below(2))];
        let labels = [labels[0].as_str(), labels[1].as_str()];
        for _ in 0..=dice.below(4) {
            let days = if odd && dice.happens(20) { 36_500 } else { 1 + dice.below(40) };
            let inspected = if odd && dice.happens(20) { 1 } else { 1 + dice.below(60) };
            let lost = dice.below(inspected + 1) / (1 + dice.below(5));
            data.add(&format!("l{lot}"), &labels, LossLook { days, inspected, lost }).unwrap();
        }
    }
    data
}

fn at(function: &Laplace<'_>, at: &[f64]) -> Option<Value> {
    function.look(at, &function.pattern.no_effects())
}

proptest! {
    #[test]
    fn the_gradient_is_that_of_the_value(
        seed in any::<u64>(),
        lots in 1_u32..12,
        sd in proptest::array::uniform3(prop_oneof![1 => Just(0.0), 4 => 0.01..2.0_f64]),
        log_hazard in -9.0..-3.0_f64,
    ) {
        let data = some(seed, lots);
        let (flat, pattern) = (Flat::of(&data), Pattern::of(&data));
        let function = Laplace::new(&data, &flat, &pattern);
        let here = [sd[0], sd[1], sd[2], log_hazard];
        let Some(value) = at(&function, &here) else { return Ok(()) };
        for place in 0..here.len() {
            // Five points, so that the step can be wide enough for the height's own rounding.
            let step = 2e-4;
            let moved = |steps: f64| {
                let mut there = here;
                there[place] += steps * step;
                at(&function, &there).map(|value| value.height)
            };
            let (Some(a), Some(b), Some(c), Some(d)) =
                (moved(-2.0), moved(-1.0), moved(1.0), moved(2.0)) else { continue };
            let slope = (a - 8.0 * b + 8.0 * c - d) / (12.0 * step);
            let gradient = value.gradient[place];
            prop_assert!(
                (slope - gradient).abs() < 1e-4 * (1.0 + slope.abs()) + 1e-9 * value.height.abs() / step,
                "{here:?} {place}: {slope} {gradient}"
            );
        }
    }
}

#[test]
fn a_hundred_thousand_looks_cost_no_more_steps_than_a_few() {
    let mut dice = Dice::new(11);
    let mut data = LossData::new(["variety", "packing", "farm"].map(str::to_owned).to_vec());
    let mut effects = |levels: u32| (0..levels).map(|_| 0.4 * dice.normal()).collect::<Vec<f64>>();
    let effects = [effects(60), effects(5), effects(80)];
    for lot in 0..12_500 {
        let levels = [60, 5, 80].map(|levels| dice.below(levels) as usize);
        let labels = levels.map(|level| format!("x{level}"));
        let labels: Vec<&str> = labels.iter().map(String::as_str).collect();
        let shared: f64 = effects.iter().zip(levels).map(|(group, level)| group[level]).sum();
        let rate = (-7.0 + shared + 0.6 * dice.normal()).exp();
        let mut inspected = 10 + dice.below(50);
        for _ in 0..8 {
            let lost = dice.of(inspected, -(-14.0 * rate).exp_m1());
            data.add(&format!("l{lot}"), &labels, LossLook { days: 14, inspected, lost }).unwrap();
            inspected -= lost;
        }
    }
    let fitted = fit(&data).unwrap();
    assert!((fitted.lot_sd - 0.6).abs() < 0.05, "{}", fitted.lot_sd);
    assert!(fitted.evaluations < 60, "{}", fitted.evaluations);
}
