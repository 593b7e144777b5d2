//! Curves without a model, against published tables.

use spareloop_domain::curve::{
    Between, Ended, Ends, Followed, TurnbullMass, kaplan_meier, median, turnbull,
};

use crate::{number, rows};

fn followed(arm: &str) -> Vec<Followed> {
    let table = rows("km_freireich_data.csv");
    let of_arm = table.iter().filter(|row| &row[0] == arm);
    let ended = |row: &csv::StringRecord| if &row[2] == "1" { Ended::Lost } else { Ended::Alive };
    of_arm.map(|row| Followed { time: number(row, 1), ended: ended(row) }).collect()
}

#[test]
fn the_six_mp_trial_comes_out_as_r_prints_it() {
    for arm in ["6-MP", "control"] {
        let steps = kaplan_meier(&followed(arm));
        let table = rows("km_freireich.csv");
        let printed: Vec<_> = table.iter().filter(|row| &row[0] == arm).collect();
        assert_eq!(steps.len(), printed.len(), "{arm}");
        for (step, row) in steps.iter().zip(printed) {
            assert!((step.time - number(row, 1)).abs() < 1e-9, "{row:?}");
            assert_eq!(
                (step.at_risk.to_string(), step.lost.to_string()),
                (row[2].into(), row[3].into())
            );
            assert!((step.alive - number(row, 4)).abs() < 6e-5, "{row:?}: {}", step.alive);
            if !row[5].is_empty() {
                assert!((step.standard_error - number(row, 5)).abs() < 6e-5, "{row:?}: {step:?}");
            }
        }
    }
    let (treated, control) = (kaplan_meier(&followed("6-MP")), kaplan_meier(&followed("control")));
    // km_summary.csv.
    assert_eq!((median(&treated, 0.5), median(&control, 0.5)), (Some(23.0), Some(8.0)));
    assert_eq!((median(&treated, 0.75), median(&control, 0.75)), (Some(13.0), Some(4.0)));
    assert_eq!(median(&treated, 0.1), None);
}

fn near(masses: &[TurnbullMass], wanted: &[f64], within: f64) {
    assert_eq!(masses.len(), wanted.len(), "{masses:?}");
    for (mass, wanted) in masses.iter().zip(wanted) {
        assert!((mass.share - wanted).abs() < within, "{mass:?}, wanted {wanted}");
    }
}

#[test]
fn the_cosmesis_data_come_out_as_published() {
    let time = |text: &str| match text {
        "" => f64::INFINITY,
        text => text.parse::<f64>().unwrap(),
    };
    let looks: Vec<_> = rows("turnbull_cosmesis_rad_data.csv")
        .iter()
        .map(|row| Between { from: time(&row[0]), until: time(&row[1]), units: 1.0 })
        .collect();
    assert_eq!(looks.len(), 46);
    let masses = turnbull(&looks, Ends::OpenClosed);
    let table = rows("turnbull_cosmesis_rad.csv");
    let shares: Vec<f64> = table.iter().map(|row| number(row, 2)).collect();
    near(&masses[..7], &shares[..7], 1e-4);
    // What is censored beyond the last look belongs to the last stretch in print.
    let rest: f64 = masses[7..].iter().map(|mass| mass.share).sum();
    assert!((rest - shares[7]).abs() < 1e-4, "{masses:?}");
    for (mass, row) in masses.iter().zip(&table).take(7) {
        assert_eq!((mass.from, mass.until), (number(row, 0), number(row, 1)));
    }
}

#[test]
fn small_examples_with_closed_ends_come_out_as_printed() {
    let table = rows("turnbull_small.csv");
    let numbers = |text: &str| -> Vec<f64> {
        text.split_whitespace().map(|one| one.parse().unwrap()).collect()
    };
    for case in ["npmle", "npmle_weights"] {
        let row = table.iter().find(|row| &row[0] == case).unwrap();
        let (left, right, weights) = (numbers(&row[1]), numbers(&row[2]), numbers(&row[3]));
        let units = |at: usize| weights.get(at).copied().unwrap_or(1.0);
        let looks: Vec<_> = left
            .iter()
            .zip(&right)
            .enumerate()
            .map(|(at, (from, until))| Between { from: *from, until: *until, units: units(at) })
            .collect();
        near(&turnbull(&looks, Ends::Closed), &numbers(&row[4]), 1e-5);
    }
    let row = table.iter().find(|row| &row[0] == "npmle_small2").unwrap();
    let looks: Vec<_> = numbers(&row[1])
        .into_iter()
        .zip(numbers(&row[2]))
        .map(|(from, until)| Between { from, until, units: 1.0 })
        .collect();
    let masses = turnbull(&looks, Ends::Closed);
    near(&masses, &[0.5, 0.5], 1e-6);
    assert_eq!((masses[0].from, masses[1].until), (7.0, 8.0));
}

/// The support alone is printed there: where probability can lie at all.
#[test]
fn looks_that_overlap_leave_the_stretches_that_are_printed() {
    let table = rows("turnbull_small.csv");
    let row = table.iter().find(|row| &row[0] == "intervals").unwrap();
    let numbers = |text: &str| -> Vec<f64> {
        text.split_whitespace().map(|one| one.parse().unwrap()).collect()
    };
    let looks: Vec<_> = numbers(&row[1])
        .into_iter()
        .zip(numbers(&row[2]))
        .map(|(from, until)| Between { from, until, units: 1.0 })
        .collect();
    let printed = row[4].strip_prefix("support ").unwrap();
    let stretches: Vec<String> = turnbull(&looks, Ends::Closed)
        .iter()
        .map(|mass| format!("[{},{}]", mass.from, mass.until))
        .collect();
    assert_eq!(stretches.join(" "), printed);
}
