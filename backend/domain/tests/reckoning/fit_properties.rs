//! What must hold of the fit of many lots, whatever was seen: invented looks, small and odd.

use proptest::prelude::*;
use proptest::sample::Index;
use spareloop_domain::fit::{Degenerate, LossData, LossFit, LossLook, fit, log_likelihood};

use crate::ask;

/// A look at a lot, and its level of each group.
#[derive(Debug, Clone)]
struct Row {
    lot: usize,
    look: LossLook,
}

/// Looks, and each lot's levels.
#[derive(Debug, Clone)]
struct Stock {
    levels: Vec<[usize; 2]>,
    rows: Vec<Row>,
}

const GROUPS: [&str; 2] = ["variety", "packing"];

impl Stock {
    /// With the first so many groups, every name put through `named`.
    fn data(&self, groups: usize, named: impl Fn(&str, usize) -> String) -> LossData {
        let mut data = LossData::new(GROUPS[..groups].iter().map(ToString::to_string).collect());
        for Row { lot, look } in &self.rows {
            let labels: Vec<String> =
                (0..groups).map(|group| named(GROUPS[group], self.levels[*lot][group])).collect();
            let labels: Vec<&str> = labels.iter().map(String::as_str).collect();
            data.add(&named("lot", *lot), &labels, *look).unwrap();
        }
        data
    }

    fn plain(&self, groups: usize) -> LossData {
        self.data(groups, |what, at| format!("{what} {at}"))
    }
}

fn look() -> impl Strategy<Value = LossLook> {
    let days = prop_oneof![6 => 7_u32..60, 1 => Just(1), 1 => Just(36_500)];
    let inspected = prop_oneof![6 => 2_u32..60, 1 => Just(1), 1 => Just(100_000)];
    let share = prop_oneof![4 => 0.0..0.3, 2 => Just(0.0), 1 => Just(1.0), 1 => 0.0..1.0];
    (days, inspected, share).prop_map(|(days, inspected, share)| {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // at most `inspected`
        let lost = (f64::from(inspected) * share) as u32;
        LossLook { days, inspected, lost }
    })
}

fn stock() -> impl Strategy<Value = Stock> {
    (1_usize..9).prop_flat_map(|lots| {
        let levels = proptest::collection::vec((0_usize..3, 0_usize..2), lots)
            .prop_map(|levels| levels.into_iter().map(|(one, other)| [one, other]).collect());
        let rows = proptest::collection::vec((0..lots, look()), 1..25)
            .prop_map(|rows| rows.into_iter().map(|(lot, look)| Row { lot, look }).collect());
        (levels, rows).prop_map(|(levels, rows)| Stock { levels, rows })
    })
}

/// Looks as of a store, without the odd ends.
fn plain_stock() -> impl Strategy<Value = Stock> {
    (2_usize..9).prop_flat_map(|lots| {
        let levels = proptest::collection::vec((0_usize..3, 0_usize..2), lots)
            .prop_map(|levels| levels.into_iter().map(|(one, other)| [one, other]).collect());
        let look = (7_u32..40, 10_u32..60, 0.0..0.3_f64).prop_map(|(days, inspected, share)| {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // at most a third
            let lost = (f64::from(inspected) * share) as u32;
            LossLook { days, inspected, lost }
        });
        let rows = proptest::collection::vec((0..lots, look), 4..25)
            .prop_map(|rows| rows.into_iter().map(|(lot, look)| Row { lot, look }).collect());
        (levels, rows).prop_map(|(levels, rows)| Stock { levels, rows })
    })
}

fn height(fitted: &LossFit) -> f64 {
    fitted.optimum.map_or(f64::NAN, |optimum| optimum.log_likelihood)
}

fn has_no_top(fitted: &LossFit) -> bool {
    fitted.group_sd.iter().chain([&fitted.lot_sd]).any(|sd| *sd > 6.0)
}

fn mean_of(data: &LossData, fitted: &LossFit, lot: &str) -> f64 {
    let at = data.lots().position(|name| name == lot).unwrap();
    fitted.lots[at].mean
}

/// Every number is one, spreads are not negative, and what can't be fitted is said.
fn is_sane(data: &LossData, fitted: &LossFit) -> Result<(), TestCaseError> {
    for sd in fitted.group_sd.iter().chain([&fitted.lot_sd]) {
        prop_assert!(sd.is_finite() && *sd >= 0.0, "{fitted:?}");
    }
    prop_assert!(fitted.effects.iter().flatten().all(|effect| effect.is_finite()), "{fitted:?}");
    prop_assert_eq!(fitted.lots.len(), data.lots().len());
    for lot in &fitted.lots {
        prop_assert!(lot.mean.is_finite() && lot.sd.is_finite() && lot.sd > 0.0, "{fitted:?}");
    }
    let (lost, inspected) = data.totals();
    let degenerate = if lost == 0 {
        Some(Degenerate::NoLosses)
    } else if lost == inspected {
        Some(Degenerate::AllLost)
    } else {
        None
    };
    prop_assert_eq!(fitted.degenerate, degenerate);
    prop_assert_eq!(fitted.optimum.is_none(), degenerate.is_some());
    if let Some(optimum) = fitted.optimum {
        prop_assert!(optimum.log_likelihood.is_finite() && optimum.log_hazard.is_finite());
    }
    Ok(())
}

proptest! {
    // Each of them fits several times.
    #![proptest_config(ProptestConfig::with_cases(ProptestConfig::default().cases / 4))]

    #[test]
    fn whatever_was_seen_every_number_of_the_fit_is_one(stock in stock()) {
        for groups in 0..=2 {
            let data = stock.plain(groups);
            is_sane(&data, &fit(&data).unwrap())?;
        }
    }

    #[test]
    fn other_names_and_another_order_of_looks_change_nothing(
        (stock, shuffled) in plain_stock().prop_flat_map(|stock| {
            let rows = Just(stock.rows.clone()).prop_shuffle();
            (Just(stock), rows)
        }),
    ) {
        let data = stock.plain(2);
        let again = Stock { levels: stock.levels.clone(), rows: shuffled };
        let again = again.data(2, |what, at| format!("{} of {what}", 97 - at));
        let (one, other) = (fit(&data).unwrap(), fit(&again).unwrap());
        if one.optimum.is_none() {
            prop_assert_eq!(one.degenerate, other.degenerate);
            return Ok(());
        }
        prop_assert!((height(&one) - height(&other)).abs() < 1e-5, "{one:?} {other:?}");
        for Row { lot, .. } in &stock.rows {
            let wanted = mean_of(&data, &one, &format!("lot {lot}"));
            let got = mean_of(&again, &other, &format!("{} of lot", 97 - lot));
            prop_assert!((wanted - got).abs() < 0.02, "lot {lot}: {wanted} {got}");
        }
    }

    /// Two looks at parts of a lot after as many days say what one look at all of it says. Only how
    /// many ways there are to choose the lost ones differs: C(n, d) against C(n₁, d₁) C(n₂, d₂), which
    /// no parameter moves.
    #[test]
    fn a_look_in_two_parts_says_what_one_look_says(
        stock in plain_stock(), at in any::<Index>(), part in any::<Index>(),
    ) {
        let at = at.index(stock.rows.len());
        let LossLook { days, inspected, lost } = stock.rows[at].look;
        // The first part has so many of the units, and as many of the lost ones as go in.
        let units = u32::try_from(part.index(inspected as usize + 1)).unwrap();
        let gone = lost.min(units);
        let parts = [(units, gone), (inspected - units, lost - gone)];
        let mut split = stock.clone();
        split.rows[at].look = LossLook { days, inspected: parts[0].0, lost: parts[0].1 };
        split.rows.push(Row {
            lot: stock.rows[at].lot,
            look: LossLook { days, inspected: parts[1].0, lost: parts[1].1 },
        });
        let ways = |(n, d): (u32, u32)| {
            statrs::function::factorial::ln_binomial(u64::from(n), u64::from(d))
        };
        let constant = ways((inspected, lost)) - parts.map(ways).iter().sum::<f64>();
        let (whole, split) = (stock.plain(2), split.plain(2));
        for sd in [0.0, 0.4, 1.3] {
            let of = |data: &LossData| log_likelihood(data, &[sd, 0.3], sd, -6.0).unwrap();
            prop_assert!((of(&whole) - of(&split) - constant).abs() < 1e-7);
        }
        let (one, other) = (fit(&whole).unwrap(), fit(&split).unwrap());
        if one.optimum.is_some() {
            let off = height(&one) - height(&other) - constant;
            prop_assert!(off.abs() < 1e-5, "{off}: {one:?} {other:?}");
        }
    }

    /// A group without effect is the smaller model, so that the larger one's top is no lower.
    #[test]
    fn another_group_never_makes_the_looks_less_likely(stock in stock()) {
        let fitted: Vec<LossFit> =
            (0..=2).map(|groups| fit(&stock.plain(groups)).unwrap()).collect();
        // Lots at opposite ends have no top: the climb ends on one of several slopes that never do.
        let is_held = |pair: &&[LossFit]| pair[0].optimum.is_some() && !pair.iter().any(has_no_top);
        for pair in fitted.windows(2).filter(is_held) {
            let (fewer, more) = (height(&pair[0]), height(&pair[1]));
            // What rounding leaves of a sum over hundred thousands of units.
            let grace = 1e-6 + 1e-10 * fewer.abs();
            prop_assert!(more >= fewer - grace, "{pair:?}");
        }
    }

    /// One level in all is the mean by another name; a level a lot is the lot by another name.
    #[test]
    fn a_group_that_tells_nothing_apart_adds_nothing(stock in plain_stock()) {
        let none = fit(&stock.plain(0)).unwrap();
        if none.optimum.is_none() {
            return Ok(());
        }
        let mut one_level = stock.clone();
        one_level.levels.fill([0, 0]);
        let mut level_a_lot = stock.clone();
        for (lot, levels) in level_a_lot.levels.iter_mut().enumerate() {
            *levels = [lot, lot];
        }
        for (stock, groups) in [(&one_level, 1), (&one_level, 2), (&level_a_lot, 1), (&level_a_lot, 2)] {
            let data = stock.plain(groups);
            let fitted = fit(&data).unwrap();
            is_sane(&data, &fitted)?;
            let off = height(&fitted) - height(&none);
            prop_assert!(off.abs() < 1e-5, "{groups}: {off}, {fitted:?}, {none:?}");
        }
    }
}

#[test]
fn one_lot_of_one_look_is_fitted_and_what_it_cannot_tell_is_said() {
    let answer = ask(
        "loss-fit",
        r#"{"groups":["variety","packing","farm"],"rows":[
            {"lot":"a","variety":"v","packing":"film","farm":"f","days":30,"inspected":40,"lost":3}]}"#,
    );
    let sd = answer["sd"].as_object().unwrap();
    assert!(sd.values().all(|sd| sd.as_f64().unwrap().abs() < 1e-3), "{answer}");
    insta::assert_snapshot!(serde_json::to_string_pretty(&answer["remarks"]).unwrap());
}

#[test]
fn a_group_with_a_level_a_lot_is_said_to_be_the_lots_themselves() {
    let rows: Vec<String> = (0..6)
        .flat_map(|lot| (0..3).map(move |look| (lot, [0, 9, 2][(lot + look) % 3])))
        .map(|(lot, lost)| {
            format!(
                r#"{{"lot":"l{lot}","variety":"v{lot}","farm":"f{}","days":30,"inspected":40,"lost":{lost}}}"#,
                lot % 2
            )
        })
        .collect();
    let answer =
        ask("loss-fit", &format!(r#"{{"groups":["variety","farm"],"rows":[{}]}}"#, rows.join(",")));
    insta::assert_snapshot!(serde_json::to_string_pretty(&answer["remarks"]).unwrap());
}

#[test]
fn lots_at_opposite_ends_are_said_to_set_no_bound() {
    let answer = ask(
        "loss-fit",
        r#"{"groups":[],"rows":[
            {"lot":"a","days":36500,"inspected":35,"lost":0},
            {"lot":"b","days":57,"inspected":34,"lost":0},
            {"lot":"c","days":55,"inspected":20,"lost":20}]}"#,
    );
    assert!(answer["log_likelihood"].as_f64().unwrap().is_finite(), "{answer}");
    let remark = answer["remarks"][0].as_str().unwrap();
    assert!(remark.contains("set no bound"), "{answer}");
}
