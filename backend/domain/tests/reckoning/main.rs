//! The computations against published and independently computed values, and their invariants.
//!
//! Every row of `tests/data/` names its source. What may not enter: books, offers, people.

#![allow(clippy::unwrap_used, clippy::expect_used)]

mod air_and_solutions;
mod door;
mod intervals;
mod names;
mod samples;
mod sentences;
mod spare_and_short;
mod survivors;

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
