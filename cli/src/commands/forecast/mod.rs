//! `forecast`: what will survive, what is spare, what is short; the sentence first, then the table.
//!
//! ```text
//! why        how a lot's or a variety's figures come about
//! curve      what the looks themselves show, without a model
//! works      one way of keeping stock against another
//! calibrate  whether forecasts hold what they promise, on invented winters
//! ```

mod calibrate;
mod curve;
mod why;
mod works;

use std::collections::BTreeMap;

use clap::{Args, Subcommand};
use serde_json::{Value, json};
use spareloop_domain::belief::Beliefs;
use spareloop_domain::forecast::ServiceLevel;
use spareloop_domain::forecast::outlook::{
    Asked, KindOutlook, LookDue, LotOutlook, Reckoned, outlook,
};
use spareloop_domain::ledger::Book;
use spareloop_domain::settings::Settings;
use spareloop_domain::words::{Count, Day, LotId, UnitKind};

use crate::book::farm::Farm;
use crate::book::link;
use crate::desk::Desk;
use crate::fault::Fault;
use crate::find;
use crate::printer::{Answer, table};

/// What will survive, what is spare, what is short.
#[derive(Debug, Args)]
#[command(
    args_conflicts_with_subcommands = true,
    after_help = "\
Examples:
  spareloop forecast
  spareloop forecast 'Ember Lantern'
  spareloop forecast --lots
  spareloop forecast why 7KQ4M
Expected and likely (10th to 90th percentile) at planting, by variety and unit kind. Spare is what
can go now so that enough plants still come up as surely as the plan asks, less what is kept back.
Where no plan says how many plants are wanted, nothing is called spare. A lot's rate of loss comes
from its own looks, those at the farm's other lots, and what the network's other farms saw as the
last sync knew it; until there is enough of these a first-season guess stands behind, and the
sentence says so. What is promised to others comes out first, as the last sync knew it."
)]
pub struct Forecast {
    #[command(subcommand)]
    more: Option<More>,
    /// Only this variety, with its lots.
    variety: Option<String>,
    /// With every lot.
    #[arg(long)]
    lots: bool,
    /// The day to forecast for where a variety has no plan; unless told, the farm's planting day.
    #[arg(long, value_name = "DAY")]
    to: Option<Day>,
}

/// What else can be asked.
#[derive(Debug, Subcommand)]
enum More {
    /// How a lot's or a variety's figures come about, step by step.
    Why(why::Why),
    /// What the looks themselves show: the share alive by days in store.
    Curve(curve::Curve),
    /// One way of keeping stock against another: packings, places, division, tools.
    Works(works::Works),
    /// Whether forecasts hold what they promise, on invented winters.
    Calibrate(calibrate::Calibrate),
}

/// The stock sheet of a book, as the farm's settings have it.
pub(crate) fn sheet(
    book: &Book,
    farm: &Farm,
    today: Day,
    to: Option<Day>,
    promised: &BTreeMap<LotId, Count>,
    beliefs: &Beliefs,
) -> Result<Vec<KindOutlook>, Fault> {
    let service_level = ServiceLevel::new(farm.service_level).map_err(|error| {
        Fault::failed(format!("How sure to be: {error}."), "Run: spareloop doctor")
    })?;
    let settings = Settings { service_level, ..Settings::default() };
    let planting = to.or(farm.planting).unwrap_or_else(|| next_may(today));
    let day_without_plan = planting.max(today);
    let asked = Asked { today, day_without_plan, settings: &settings, promised, beliefs };
    Ok(outlook(book, &asked))
}

/// The coming 10 May, for a farm that has set no planting day (ours, no source).
fn next_may(today: Day) -> Day {
    (0..=366)
        .map(|days| today.plus_days(days))
        .find(|day| day.to_string().ends_with("-05-10"))
        .unwrap_or(today)
}

/// Runs it.
pub fn run(it: Forecast, desk: &Desk) -> Result<Answer, Fault> {
    match it.more {
        Some(More::Why(it)) => return why::run(&it, desk),
        Some(More::Curve(it)) => return curve::run(&it, desk),
        Some(More::Works(it)) => return works::run(&it, desk),
        Some(More::Calibrate(it)) => return calibrate::run(&it),
        None => {}
    }
    let mut opened = desk.book()?;
    let promised = opened.file.read(link::promised)?;
    let beliefs = opened.beliefs()?;
    let book = &opened.book;
    let wanted = it.variety.as_ref().map(|text| find::variety(book, text)).transpose()?;
    let wanted = wanted.map(|card| card.id);
    let today = desk.settings.today.value;
    let sheet: Vec<KindOutlook> = sheet(book, &opened.farm, today, it.to, &promised, &beliefs)?
        .into_iter()
        .filter(|kind| wanted.is_none_or(|variety| variety == kind.variety))
        .collect();
    if sheet.is_empty() {
        return Ok(Answer::new(
            "forecast",
            "Nothing in store and nothing planned. Begin with: spareloop import stock FILE",
            json!({ "kinds": [] }),
        ));
    }
    let detail = if it.lots || wanted.is_some() { Detail::Lots } else { Detail::Kinds };
    let mut parts: Vec<String> = sheet.iter().map(|kind| sentences(book, kind, detail)).collect();
    if wanted.is_none() {
        let rows: Vec<Vec<String>> = sheet.iter().map(|kind| row(book, kind)).collect();
        let headers = ["variety", "unit", "in store", "expected", "likely", "spare", "short"];
        parts.push(table(&headers, &rows));
    }
    parts.extend(planting_passed(book, &sheet, today));
    let data: Vec<Value> = sheet.iter().map(|kind| view(book, kind)).collect();
    let separator = match detail {
        Detail::Lots => "\n\n",
        Detail::Kinds => "\n",
    };
    Ok(Answer::new("forecast", parts.join(separator), json!({ "today": today, "kinds": data })))
}

/// A plan for a spring that is over says nothing of the next one.
fn planting_passed(book: &Book, sheet: &[KindOutlook], today: Day) -> Option<String> {
    let passed: Vec<String> = sheet
        .iter()
        .filter(|kind| kind.on < today)
        .map(|kind| find::variety_name(book, kind.variety))
        .collect();
    let first = passed.first()?;
    let more = match passed.len() - 1 {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    Some(format!(
        "The planting day of {first}{more} has passed. Plan anew: spareloop plan set {first} --plants N --planting YYYY-MM-DD"
    ))
}

/// How far down the sentences go.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Detail {
    /// A sentence a variety and unit kind.
    Kinds,
    /// And one for each of its lots.
    Lots,
}

fn sentences(book: &Book, kind: &KindOutlook, detail: Detail) -> String {
    let name = find::variety_name(book, kind.variety);
    let unit = match kind.unit {
        UnitKind::Division => String::new(),
        other => format!(" ({})", other.plural()),
    };
    let mut lines = vec![format!("{name}{unit}: {}", kind.sentence)];
    if detail == Detail::Lots {
        lines.extend(
            kind.lots
                .iter()
                .map(|lot| format!("  {}: {}{}", lot.lot.code(), lot.sentence, due(lot))),
        );
    }
    lines.join("\n")
}

fn due(lot: &LotOutlook) -> String {
    match lot.look {
        LookDue::NotYet => String::new(),
        LookDue::Due { days } => format!(" Last seen {days} days ago: look before you offer it."),
    }
}

fn row(book: &Book, kind: &KindOutlook) -> Vec<String> {
    let name = find::variety_name(book, kind.variety);
    let unit = kind.unit.to_string();
    let in_store = kind.in_store.to_string();
    let dash = || "-".to_owned();
    match &kind.reckoned {
        Ok(reckoned) => vec![
            name,
            unit,
            in_store,
            format!("{:.0}", reckoned.stock.expected.max(0.0).abs()),
            format!("{} to {}", reckoned.stock.low, reckoned.stock.high),
            reckoned.spare().map_or_else(dash, |units| units.to_string()),
            reckoned.short().map_or_else(dash, |units| units.to_string()),
        ],
        Err(_) => vec![name, unit, in_store, dash(), dash(), dash(), dash()],
    }
}

fn view(book: &Book, kind: &KindOutlook) -> Value {
    let reckoned = kind.reckoned.as_ref().ok();
    json!({
        "variety": find::variety_name(book, kind.variety),
        "variety_id": kind.variety,
        "unit": kind.unit,
        "on": kind.on,
        "in_store": kind.in_store,
        "stopped": kind.stopped,
        "coming": kind.coming,
        "promised": kind.promised,
        "expected": reckoned.map(|it| it.stock.expected),
        "low": reckoned.map(|it| it.stock.low),
        "high": reckoned.map(|it| it.stock.high),
        "spare": reckoned.and_then(Reckoned::spare),
        "short": reckoned.and_then(Reckoned::short),
        "chance_met": reckoned.and_then(|it| it.plants).map(|plants| plants.chance_met),
        "sentence": kind.sentence,
        "lots": kind.lots.iter().map(lot_view).collect::<Vec<_>>(),
    })
}

fn lot_view(lot: &LotOutlook) -> Value {
    let left = lot.survivors.as_ref().ok();
    json!({
        "lot": lot.lot,
        "code": lot.lot.code(),
        "in_store": lot.in_store,
        "expected": left.map(|left| left.mean),
        "low": left.map(|left| left.p10),
        "high": left.map(|left| left.p90),
        "look_due": matches!(lot.look, LookDue::Due { .. }),
        "sentence": lot.sentence,
    })
}
