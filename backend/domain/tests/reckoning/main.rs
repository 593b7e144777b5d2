//! The computations against published and independently computed values, and their invariants.
//!
//! Every row of `tests/data/` names its source. What may not enter: books, offers, people.

#![allow(clippy::unwrap_used, clippy::expect_used)]

mod air_and_solutions;
mod air_over_time;
mod beliefs;
mod calibrated;
mod curves;
mod door;
mod fit_properties;
mod intervals;
mod losses_together;
mod names;
mod samples;
mod season_shape;
mod sentences;
mod shrinkage;
mod spare_and_short;
mod survivors;
mod telling;
mod trade;
mod values;
mod works_here;

/// The rows of a table in `tests/data/`; lines that begin with # tell where they come from.
fn rows(table: &str) -> Vec<csv::StringRecord> {
    let path = format!("{}/tests/data/{table}", env!("CARGO_MANIFEST_DIR"));
    let mut reader =
        csv::ReaderBuilder::new().comment(Some(b'#')).flexible(true).from_path(path).unwrap();
    let rows: Vec<_> = reader.records().map(Result::unwrap).collect();
    assert!(!rows.is_empty(), "{table} has no rows");
    rows
}

/// The number in a column.
fn number(row: &csv::StringRecord, column: usize) -> f64 {
    row[column].parse().unwrap_or_else(|_| panic!("no number in column {column} of {row:?}"))
}

/// The whole number in a column.
fn whole(row: &csv::StringRecord, column: usize) -> u64 {
    row[column].parse().unwrap_or_else(|_| panic!("no whole number in column {column} of {row:?}"))
}

/// Whether two numbers agree to a share of the second.
fn agrees(got: f64, wanted: f64, share: f64) -> bool {
    (got - wanted).abs() <= share * wanted.abs()
}

/// Asks the JSON door and reads the answer.
fn ask(kind: &str, input: &str) -> serde_json::Value {
    serde_json::from_str(&spareloop_domain::compute::run(kind, input).unwrap()).unwrap()
}

#[test]
fn a_plan_without_any_stock_is_short_of_all_of_it() {
    let answer = spareloop_domain::compute::run(
        "spare",
        r#"{"lots":[],"emergence":{"alpha":18,"beta":2},"plants_wanted":4,"service_level":0.9,"keep_back":0}"#,
    )
    .unwrap();
    let answer: serde_json::Value = serde_json::from_str(&answer).unwrap();
    assert_eq!(answer["expected_plants"], 0.0);
    assert_eq!(answer["chance_met"], 0.0);
    assert_eq!(answer["spare"], 0);
    assert!(answer["short"].as_u64().unwrap() >= 4, "{answer}");

    let nothing = spareloop_domain::compute::run(
        "loss-forecast",
        r#"{"units":[],"log_hazard_mean":-7,"log_hazard_sd":0.5}"#,
    )
    .unwrap();
    let nothing: serde_json::Value = serde_json::from_str(&nothing).unwrap();
    assert_eq!(nothing["p90"], 0);
    assert_eq!(nothing["chance_at_least"], serde_json::json!([{"count": 0, "chance": 1.0}]));
}
