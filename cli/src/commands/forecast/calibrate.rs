//! `forecast calibrate`: whether forecasts hold what they promise, on invented winters.

use clap::Args;
use serde_json::{Value, json};
use spareloop_domain::calibration::{Report, Scores, Trial, Winter, report};

use crate::book::error_sentence;
use crate::fault::Fault;
use crate::printer::{Answer, table};

/// Asks for the report.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  spareloop forecast calibrate
  spareloop forecast calibrate --lots 2000 --winters 10 --seed 7
Winters are invented, forecast from their checks up to the last one, and held against how they
ended: some drawn from the model that forecasts, and three kinds that break it. Where a forecast is
right, 8 in 10 outcomes fall within its likely range (spread over whole numbers: the randomised
figure); the score is in units, smaller is better, beside that of each lot's own raw rate and of one
rate for all.")]
pub(super) struct Calibrate {
    /// Lots in each winter.
    #[arg(long, default_value_t = 500, value_parser = clap::value_parser!(u32).range(25..=100_000))]
    lots: u32,
    /// Winters of each kind.
    #[arg(long, default_value_t = 3, value_parser = clap::value_parser!(u32).range(1..=1000))]
    winters: u32,
    /// What decides everything.
    #[arg(long, default_value_t = 1)]
    seed: u64,
}

/// Runs it.
pub(super) fn run(it: &Calibrate) -> Result<Answer, Fault> {
    let (mut rows, mut views) = (Vec::new(), Vec::new());
    for winter in Winter::ALL {
        let seeds = (0..u64::from(it.winters)).map(|more| it.seed.wrapping_add(more));
        let reports: Vec<Report> = seeds
            .map(|seed| report(Trial::of_lots(it.lots, seed), winter))
            .collect::<Result<_, _>>()
            .map_err(|error| {
                let what = error_sentence(&error.to_string());
                Fault::failed(what, "Try with other --lots or another --seed.")
            })?;
        let parts: [(&str, Of); 2] =
            [("lots", |one| one.lots), ("variety totals", |one| one.varieties)];
        for (what, of) in parts {
            let scores: Vec<Scores> = reports.iter().map(of).collect();
            rows.push(row(winter, what, &scores));
            views.push(view(winter, what, &scores));
        }
    }
    let headers =
        ["winter", "of", "within", "covered", "width", "score", "by raw rate", "by one rate"];
    let text = format!(
        "{} invented lots a winter, {} of each kind, from seed {}: within is to be 80 where the model \
         holds.\n{}",
        it.lots,
        match it.winters {
            1 => "1 winter".to_owned(),
            more => format!("{more} winters"),
        },
        it.seed,
        table(&headers, &rows)
    );
    let data = json!({ "lots": it.lots, "winters": it.winters, "seed": it.seed, "scores": views });
    Ok(Answer::new("forecast-calibrate", text, data))
}

/// Of lots, or of variety totals.
type Of = fn(&Report) -> Scores;

fn mean(scores: &[Scores], part: fn(&Scores) -> f64) -> f64 {
    // At least one winter, by the flag's range.
    scores.iter().map(part).sum::<f64>() / scores.len() as f64
}

fn row(winter: Winter, what: &str, scores: &[Scores]) -> Vec<String> {
    let percent = |part: fn(&Scores) -> f64| format!("{:.1} %", 100.0 * mean(scores, part));
    vec![
        winter.words().to_owned(),
        what.to_owned(),
        percent(|one| one.within),
        percent(|one| one.covered),
        format!("{:.0}", mean(scores, |one| one.width)),
        format!("{:.3}", mean(scores, |one| one.score)),
        format!("{:.3}", mean(scores, |one| one.score_raw)),
        format!("{:.3}", mean(scores, |one| one.score_network)),
    ]
}

fn view(winter: Winter, what: &str, scores: &[Scores]) -> Value {
    json!({
        "winter": winter.words(),
        "of": what,
        "forecasts": scores.iter().map(|one| one.forecasts).sum::<usize>(),
        "within": mean(scores, |one| one.within),
        "covered": mean(scores, |one| one.covered),
        "width": mean(scores, |one| one.width),
        "score": mean(scores, |one| one.score),
        "score_raw": mean(scores, |one| one.score_raw),
        "score_network": mean(scores, |one| one.score_network),
    })
}
