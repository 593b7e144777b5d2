//! The same forecasts by Python's scipy, where it is installed.

use crate::lme4::asked;
use crate::ours::{AHEAD_DAYS, Ours};
use crate::winter::Invented;

/// So many lots are enough for a time a lot.
const LOTS: usize = 1000;

pub(crate) fn run(invented: &Invented, ours: &Ours) {
    let lots: Vec<String> = ours
        .fitted
        .lots
        .iter()
        .zip(&invented.in_store)
        .take(LOTS)
        .map(|(hazard, count)| format!("{count} {AHEAD_DAYS} {} {}\n", hazard.mean, hazard.sd))
        .collect();
    // Debian's own Python has Debian's scipy, whatever stands first in PATH.
    let printed = ["python3", "/usr/bin/python3"]
        .into_iter()
        .find_map(|python| asked(python, "sums.py", &lots.concat()));
    let Some(printed) = printed else {
        println!("\nscipy: left out, because Python has none here (tests/setup.sh bench)");
        return;
    };
    let mut lines = printed.lines();
    let seconds: f64 = lines.next().unwrap().parse().unwrap();
    let mut asked_of = 0;
    for (line, forecast) in lines.zip(&ours.forecasts) {
        let numbers: Vec<f64> = line.split(' ').map(|one| one.parse().unwrap()).collect();
        assert!((numbers[0] - forecast.mean).abs() < 1e-6 * numbers[0].max(1.0), "{line}");
        let quantiles = [forecast.p10, forecast.p50, forecast.p90].map(f64::from);
        assert_eq!(numbers[1..], quantiles, "{line}");
        asked_of += 1;
    }
    let (theirs, own) =
        (seconds / f64::from(asked_of), ours.forecast_seconds / ours.forecasts.len() as f64);
    println!("\nscipy, the same mean and percentiles of {asked_of} lots");
    println!("  a lot                                      {:>10.3} ms", 1000.0 * theirs);
    println!("  our forecast is {:.1} times as fast", theirs / own);
}
