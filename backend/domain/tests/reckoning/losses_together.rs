//! The fit of many lots against lme4, and at the ends where there is little to fit.

use std::collections::BTreeMap;

use spareloop_domain::fit::{LossData, LossFit, LossLook, fit, log_likelihood};

use crate::{ask, number, rows, whole};

const GROUPS: [&str; 3] = ["variety", "packing", "farm"];

fn looks(name: &str) -> LossData {
    let mut data = LossData::new(GROUPS.map(str::to_owned).to_vec());
    for row in rows(&format!("loss_fit/{name}.csv")) {
        let count = |column| u32::try_from(whole(&row, column)).unwrap();
        let look = LossLook { days: count(4), inspected: count(5), lost: count(6) };
        data.add(&row[0], &[&row[1], &row[2], &row[3]], look).unwrap();
    }
    data
}

/// What R's lme4 printed for the same looks (`tests/data/loss_fit/reference.R`).
fn reference(name: &str) -> BTreeMap<(String, String), f64> {
    let rows = rows(&format!("loss_fit/{name}.lme4"));
    // Its heading is a row like any other behind the comment.
    rows.iter().map(|row| ((row[0].to_owned(), row[1].to_owned()), number(row, 2))).collect()
}

fn of(reference: &BTreeMap<(String, String), f64>, what: &str, which: &str) -> f64 {
    reference[&(what.to_owned(), which.to_owned())]
}

/// Checks the heights; answers our fit and theirs.
fn as_high_as_lme4(name: &str) -> (LossData, LossFit, BTreeMap<(String, String), f64>) {
    let (data, theirs) = (looks(name), reference(name));
    let sd = GROUPS.map(|group| of(&theirs, "sd", group));
    let height = of(&theirs, "log_likelihood", "");
    let at_theirs =
        log_likelihood(&data, &sd, of(&theirs, "sd", "lot"), of(&theirs, "log_hazard", ""))
            .unwrap();
    assert!((at_theirs - height).abs() < 0.01, "{name}: {at_theirs} at theirs, {height}");
    let ours = fit(&data).unwrap();
    let top = ours.optimum.unwrap().log_likelihood;
    assert!(top >= height - 0.01, "{name}: {top} below {height}");
    (data, ours, theirs)
}

#[test]
fn the_fit_is_as_high_as_lme4s_and_at_the_same_place() {
    for name in ["crossed", "loud"] {
        let (data, ours, theirs) = as_high_as_lme4(name);
        let near = |got: f64, wanted: f64, what: &str| {
            assert!((got - wanted).abs() < 0.02, "{name}: {what} {got}, lme4 {wanted}");
        };
        near(ours.optimum.unwrap().log_hazard, of(&theirs, "log_hazard", ""), "log hazard");
        near(ours.lot_sd, of(&theirs, "sd", "lot"), "sd of lots");
        for (at, group) in GROUPS.into_iter().enumerate() {
            near(ours.group_sd[at], of(&theirs, "sd", group), group);
            for (label, effect) in data.labels(at).iter().zip(&ours.effects[at]) {
                near(*effect, of(&theirs, group, label), label);
            }
        }
        for (at, lot) in data.lots().enumerate() {
            let effects: f64 = data
                .levels(at)
                .iter()
                .enumerate()
                .map(|(group, level)| ours.effects[group][*level as usize])
                .sum();
            let own = ours.lots[at].mean - ours.optimum.unwrap().log_hazard - effects;
            near(own, of(&theirs, "lot", lot), lot);
        }
    }
}

#[test]
fn where_a_variance_ends_at_nothing_the_fit_is_as_high_as_lme4s() {
    for name in ["small", "quiet"] {
        let (_, ours, _) = as_high_as_lme4(name);
        assert!(ours.group_sd.contains(&0.0), "{name}: {:?}", ours.group_sd);
    }
}

fn asked(groups: &str, rows: &str) -> serde_json::Value {
    ask("loss-fit", &format!(r#"{{"groups":{groups},"rows":[{rows}]}}"#))
}

#[test]
fn without_losses_every_lot_has_the_first_seasons_guess_and_its_own_looks() {
    let answer = asked(
        r#"["variety"]"#,
        r#"{"lot":"a","variety":"v","days":30,"inspected":100,"lost":0},
           {"lot":"b","variety":"v","days":0,"inspected":10,"lost":0}"#,
    );
    assert_eq!(answer["degenerate"], "no losses");
    assert!(answer["log_hazard"].is_null() && answer["log_likelihood"].is_null());
    assert_eq!(answer["sd"], serde_json::json!({"variety": 0.0, "lot": 0.0}));
    assert_eq!(answer["effects"]["variety"]["v"], 0.0);
    assert_eq!(answer["lots"][1]["log_hazard_mean"], -7.44);
    assert_eq!(answer["lots"][1]["log_hazard_sd"], 1.1);
    assert!(answer["lots"][0]["log_hazard_mean"].as_f64().unwrap() < -7.44);

    let gone = asked("[]", r#"{"lot":"a","days":30,"inspected":7,"lost":7}"#);
    assert_eq!(gone["degenerate"], "all lost");
    assert!(gone["lots"][0]["log_hazard_mean"].as_f64().unwrap() > -7.44);
    let nothing = asked(r#"["farm"]"#, "");
    assert_eq!(nothing["degenerate"], "no losses");
    assert_eq!(nothing["lots"], serde_json::json!([]));
}

#[test]
fn one_lot_alone_is_fitted_by_its_own_rate() {
    // Closed form: 1 − exp(−30 λ) = 3/40.
    let answer = asked("[]", r#"{"lot":"a","days":30,"inspected":40,"lost":3}"#);
    let wanted = (-(1.0 - 3.0 / 40.0_f64).ln() / 30.0).ln();
    let lot = &answer["lots"][0];
    assert!((lot["log_hazard_mean"].as_f64().unwrap() - wanted).abs() < 1e-3, "{answer}");
    assert!(lot["log_hazard_sd"].as_f64().unwrap() > 0.3, "{answer}");
}

#[test]
fn numbers_stay_numbers_at_the_ends() {
    for rows in [
        r#"{"lot":"a","days":30,"inspected":1,"lost":1},{"lot":"b","days":1,"inspected":1,"lost":0}"#,
        r#"{"lot":"a","days":36500,"inspected":900000,"lost":899999}"#,
        r#"{"lot":"a","days":1,"inspected":900000,"lost":1},{"lot":"b","days":1,"inspected":5,"lost":5}"#,
        r#"{"lot":"a","days":7,"inspected":50,"lost":50},{"lot":"b","days":7,"inspected":50,"lost":0}"#,
    ] {
        let answer = asked("[]", rows);
        assert!(answer["log_likelihood"].as_f64().unwrap().is_finite(), "{rows}: {answer}");
        for lot in answer["lots"].as_array().unwrap() {
            assert!(lot["log_hazard_sd"].as_f64().unwrap() > 0.0, "{rows}: {answer}");
            assert!(lot["log_hazard_mean"].is_f64(), "{rows}: {answer}");
        }
    }
}

#[test]
fn looks_that_cannot_be_are_refused_by_name() {
    let refused = |groups: &str, rows: &str| {
        let text = format!(r#"{{"groups":{groups},"rows":[{rows}]}}"#);
        spareloop_domain::compute::run("loss-fit", &text).unwrap_err().to_string()
    };
    let more = refused("[]", r#"{"lot":"a","days":3,"inspected":4,"lost":5}"#);
    assert!(more.starts_with("rows[0].lost"), "{more}");
    let none = refused("[]", r#"{"lot":"a","days":0,"inspected":4,"lost":1}"#);
    assert!(none.starts_with("rows[0].days"), "{none}");
    let two = refused(
        r#"["variety"]"#,
        r#"{"lot":"a","variety":"v","days":3,"inspected":4,"lost":1},
           {"lot":"a","variety":"w","days":3,"inspected":4,"lost":1}"#,
    );
    assert!(two.starts_with("rows[1].variety"), "{two}");
    let group = refused(r#"["varieties"]"#, "");
    assert!(group.starts_with("groups[0]") && group.contains("did you mean variety"), "{group}");
    let missing = refused(r#"["farm"]"#, r#"{"lot":"a","days":3,"inspected":4,"lost":1}"#);
    assert!(missing.starts_with("rows[0].farm"), "{missing}");
}
