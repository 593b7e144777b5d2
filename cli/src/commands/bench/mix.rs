//! `bench mix`: how to make a solution up.

use clap::{Args, ValueEnum};
use serde_json::json;
use spareloop_domain::disinfection::{
    Agent, ContactMinutes, DilutionError, Litres, SolutionUse, Strength, TURNS, cautions, dilute,
};

use crate::book::error_sentence;
use crate::desk::Desk;
use crate::fault::Fault;
use crate::printer::Answer;

/// What a solution is for.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum For {
    /// Knives and snips, between clumps.
    ToolDip,
    /// The tubers themselves.
    TuberSoak,
}

impl From<For> for SolutionUse {
    fn from(used_for: For) -> Self {
        match used_for {
            For::ToolDip => Self::ToolDip,
            For::TuberSoak => Self::TuberSoak,
        }
    }
}

/// Makes a solution up.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Mix {
    /// What it is for.
    #[arg(long = "for", value_enum)]
    used_for: For,
    /// What the stock is, as on its label.
    #[arg(long, default_value = "household bleach")]
    agent: String,
    /// The stock's active strength in percent, from its label.
    #[arg(long, value_name = "PERCENT")]
    stock_percent: Option<f64>,
    /// The strength to make up, in percent, as the label gives it for this use.
    #[arg(long, value_name = "PERCENT")]
    target_percent: f64,
    /// The most that the label allows for this use, in percent.
    #[arg(long, value_name = "PERCENT")]
    label_percent: Option<f64>,
    /// How much to make up, in litres.
    #[arg(long)]
    litres: f64,
    /// Minutes that things stay in it, as the label gives them.
    #[arg(long)]
    minutes: Option<f64>,
}

/// Runs it.
pub(super) fn run(it: Mix, desk: &Desk) -> Result<Answer, Fault> {
    let strength = |percent: f64, otherwise| Strength::new(percent).ok_or(otherwise);
    let stock = it.stock_percent.ok_or(DilutionError::Stock);
    let stock = stock.and_then(|percent| strength(percent, DilutionError::Stock));
    let stock = stock.map_err(refused)?;
    let target = strength(it.target_percent, DilutionError::Target).map_err(refused)?;
    let label = it.label_percent.map(|percent| strength(percent, DilutionError::Label));
    let label = label.transpose().map_err(refused)?;
    let total = Litres::new(it.litres).map_err(refused)?;
    let made = dilute(stock, target, total, label).map_err(refused)?;
    let minutes = minutes(it.minutes, desk)?;
    let used_for: SolutionUse = it.used_for.into();
    let agent = Agent::named(&it.agent);
    let mut lines = vec![
        format!(
            "{}: {made}, that is 1 part of {} at {} % and {} parts of water: {} %.",
            match used_for {
                SolutionUse::ToolDip => "Tool dip",
                SolutionUse::TuberSoak => "Tuber soak",
            },
            it.agent,
            stock.percent(),
            number(made.parts_water_per_part_stock),
            target.percent(),
        ),
        format!(
            "For {}: {} of water, then {} of {}.",
            litres(total.litres()),
            litres(made.water_litres),
            litres(made.stock_litres),
            it.agent
        ),
        format!("Time in it: {} minutes.", number(minutes.minutes())),
    ];
    if used_for == SolutionUse::ToolDip {
        lines.push(TURNS.to_owned());
    }
    if label.is_none() {
        lines.push(
            "The label's strength for this use wasn't given: check that yours isn't above it."
                .to_owned(),
        );
    }
    let cautions = cautions(&agent, Some(used_for));
    lines.extend(cautions.iter().map(|caution| format!("- {caution}")));
    let data = json!({
        "for": match used_for {
            SolutionUse::ToolDip => "tool-dip",
            SolutionUse::TuberSoak => "tuber-soak",
        },
        "agent": it.agent,
        "stock_percent": stock.percent(),
        "target_percent": target.percent(),
        "parts": made.to_string(),
        "parts_water_per_part_stock": made.parts_water_per_part_stock,
        "stock_litres": made.stock_litres,
        "water_litres": made.water_litres,
        "minutes": minutes.minutes(),
        "cautions": cautions,
    });
    Ok(Answer::new("bench-mix", lines.join("\n"), data))
}

/// How long things stay in it is asked for: it is on the label, and no time fits every agent.
fn minutes(given: Option<f64>, desk: &Desk) -> Result<ContactMinutes, Fault> {
    let given = given.map(|minutes| minutes.to_string());
    let text = desk.ask.text(given, "Minutes in it, by the label", "--minutes")?;
    let number = text.trim().replace(',', ".").parse().unwrap_or(f64::NAN);
    ContactMinutes::new(number).map_err(refused)
}

fn refused(error: DilutionError) -> Fault {
    let hint = match error {
        DilutionError::Stock => {
            "Read the strength off the stock's label and give it with --stock-percent. A stock of unknown strength is never used."
        }
        DilutionError::Target | DilutionError::Label => "Read it off the label for this use.",
        DilutionError::TargetNotBelowStock => {
            "Check both strengths; if the stock is the weaker one, get another stock."
        }
        DilutionError::AboveLabel => "The label is the law: make up what it allows for this use.",
        DilutionError::Total | DilutionError::Contact => "Correct it and ask again.",
    };
    Fault::refused(error_sentence(&error.to_string()), hint).keeping("Nothing was reckoned.")
}

/// "1 litre", "9.5 litres".
fn litres(value: f64) -> String {
    match number(value).as_str() {
        "1" => "1 litre".to_owned(),
        many => format!("{many} litres"),
    }
}

/// At most three places behind the point.
fn number(value: f64) -> String {
    ((value * 1000.0).round() / 1000.0).to_string()
}
