//! `forecast why`: how a figure comes about, from a typical lot to this one.

use std::fmt::Write as _;

use clap::Args;
use serde_json::{Value, json};
use spareloop_domain::belief::{Beliefs, EmergenceBelief, Ground, Step, StepOf, YieldBelief};
use spareloop_domain::forecast::outlook::{KindOutlook, LotOutlook};
use spareloop_domain::ledger::Book;
use spareloop_domain::words::{Packing, VarietyId};

use super::sheet;
use crate::book::link;
use crate::desk::Desk;
use crate::fault::Fault;
use crate::find;
use crate::printer::{Answer, table};

/// The time over which a rate is told, as a share alive: lifting to planting, common practice.
const OVER_DAYS: u32 = 180;

/// Asks why.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  spareloop forecast why 7KQ4M
  spareloop forecast why 'Ember Lantern'
Each step says what it adds and where the share alive after 180 days has come: where it begins
(what the network's other farms saw, the farm's own records, or a first-season guess), the farm, the
packing, the variety, and the lot's own looks. Likely is from the 10th to the 90th percentile.")]
pub(super) struct Why {
    /// A lot, by code, label or id, or a variety by name.
    what: String,
}

/// What is asked about.
struct Found<'a> {
    kind: &'a KindOutlook,
    lots: Vec<&'a LotOutlook>,
}

/// Runs it.
pub(super) fn run(it: &Why, desk: &Desk) -> Result<Answer, Fault> {
    let mut opened = desk.book()?;
    let promised = opened.file.read(link::promised)?;
    let beliefs = opened.beliefs()?;
    let (book, today) = (&opened.book, desk.settings.today.value);
    let kinds = sheet(book, &opened.farm, today, None, &promised, &beliefs)?;
    let found = find_it(book, &opened.farm, &it.what, &kinds)?;
    let parts: Vec<String> = found.iter().map(|found| told(book, &beliefs, found)).collect();
    let views: Vec<Value> = found.iter().map(|found| view(book, &beliefs, found)).collect();
    Ok(Answer::new("forecast-why", parts.join("\n\n"), json!({ "kinds": views })))
}

fn find_it<'a>(
    book: &Book,
    farm: &crate::book::farm::Farm,
    text: &str,
    kinds: &'a [KindOutlook],
) -> Result<Vec<Found<'a>>, Fault> {
    let of_variety = |variety: VarietyId| -> Vec<Found<'a>> {
        let kinds = kinds.iter().filter(|kind| kind.variety == variety);
        kinds.map(|kind| Found { kind, lots: kind.lots.iter().collect() }).collect()
    };
    if let Some(card) = find::known_variety(book, text) {
        let found = of_variety(card.id);
        return if found.is_empty() { Err(nothing_of(text)) } else { Ok(found) };
    }
    let lot = find::lot(book, farm.id, text)?.id;
    let has = |kind: &&KindOutlook| kind.lots.iter().any(|one| one.lot == lot);
    let Some(kind) = kinds.iter().find(has) else { return Err(nothing_of(text)) };
    Ok(vec![Found { kind, lots: kind.lots.iter().filter(|one| one.lot == lot).collect() }])
}

fn nothing_of(text: &str) -> Fault {
    Fault::refused(
        format!("Nothing of {text} is in store, so nothing is forecast."),
        "See what is in store: spareloop lot list",
    )
}

fn told(book: &Book, beliefs: &Beliefs, found: &Found<'_>) -> String {
    let name = find::variety_name(book, found.kind.variety);
    let mut text = format!("{name}: {}", found.kind.sentence);
    for lot in &found.lots {
        let _ = write!(text, "\n\n{}: {}", lot.lot.code(), lot.sentence);
        let steps = beliefs.steps(lot.lot);
        let rows: Vec<Vec<String>> =
            steps.iter().map(|step| row(book, found.kind.variety, step)).collect();
        if !rows.is_empty() {
            let headers = ["step", "rate of loss", "alive after 180 days"];
            let _ = write!(text, "\n{}", table(&headers, &rows));
        }
        let _ = write!(text, "\n{}", range(beliefs, lot));
    }
    let (emergence, yields) =
        (beliefs.emergence(book, found.kind.variety), beliefs.yields(book, found.kind.variety));
    let _ = write!(text, "\n\n{}\n{}", emergence_words(&emergence), yield_words(&yields));
    text
}

/// A rate's step in words: by how much it is more or less than before.
fn row(book: &Book, variety: VarietyId, step: &Step) -> Vec<String> {
    let change = match &step.of {
        StepOf::Begin(_) => format!("{:.3} % a day", 100.0 * step.log_hazard.exp()),
        _ => match step.adds.exp() {
            times if (times - 1.0).abs() < 0.005 => "as before".to_owned(),
            times => format!("{times:.2} times"),
        },
    };
    let alive = format!("{:.1} %", 100.0 * step.alive_after(OVER_DAYS));
    vec![name(book, variety, &step.of), change, alive]
}

fn name(book: &Book, variety: VarietyId, of: &StepOf) -> String {
    match of {
        StepOf::Begin(Ground::FirstSeason) => "a first-season guess".to_owned(),
        StepOf::Begin(Ground::OwnRecords) => "all lots here".to_owned(),
        StepOf::Begin(Ground::Network { farms, lots }) => {
            format!("what {farms} farms of the network saw of {lots} lots")
        }
        StepOf::Farm => "this farm".to_owned(),
        StepOf::Packing(code) => match code.parse::<Packing>() {
            Ok(packing) => format!("packing: {packing}"),
            Err(_) => "packing not noted".to_owned(),
        },
        StepOf::Variety => find::variety_name(book, variety),
        StepOf::Lot => "this lot's own looks".to_owned(),
    }
}

/// 10th and 90th percentile of a normal, in standard deviations.
const LIKELY: f64 = 1.281_551_565_544_6;

fn alive_between(beliefs: &Beliefs, lot: &LotOutlook) -> (f64, f64) {
    let hazard = beliefs.lot(lot.lot).hazard;
    let alive =
        |sds: f64| (-f64::from(OVER_DAYS) * (hazard.mean() + sds * hazard.sd()).exp()).exp();
    (alive(LIKELY), alive(-LIKELY))
}

fn range(beliefs: &Beliefs, lot: &LotOutlook) -> String {
    let (low, high) = alive_between(beliefs, lot);
    format!(
        "How sure: likely {:.0} to {:.0} % alive after {OVER_DAYS} days of such storing.",
        100.0 * low,
        100.0 * high
    )
}

fn emergence_words(it: &EmergenceBelief) -> String {
    format!(
        "Of what is planted {:.0} % is expected to come up, as sure as after {:.0} plants; from {}.",
        100.0 * it.rate.mean(),
        it.rate.alpha() + it.rate.beta(),
        ground_words(it.ground)
    )
}

fn yield_words(it: &YieldBelief) -> String {
    format!(
        "A clump is expected to give {:.1} sound divisions, as sure as after {:.0} clumps; from {}.",
        it.mean(),
        it.rate,
        ground_words(it.ground)
    )
}

fn ground_words(ground: Ground) -> String {
    match ground {
        Ground::FirstSeason => "the variety's own record here and a first guess".to_owned(),
        Ground::OwnRecords => "this farm's records".to_owned(),
        Ground::Network { farms, .. } => {
            format!("the records of {farms} farms of the network and this farm's own")
        }
    }
}

fn view(book: &Book, beliefs: &Beliefs, found: &Found<'_>) -> Value {
    let variety = found.kind.variety;
    let (emergence, yields) = (beliefs.emergence(book, variety), beliefs.yields(book, variety));
    let lots = found.lots.iter().map(|lot| {
        let belief = beliefs.lot(lot.lot);
        let (low, high) = alive_between(beliefs, lot);
        let steps = beliefs.steps(lot.lot);
        json!({
            "lot": lot.lot,
            "code": lot.lot.code(),
            "sentence": lot.sentence,
            "log_hazard_mean": belief.hazard.mean(),
            "log_hazard_sd": belief.hazard.sd(),
            "alive_after_180_days_low": low,
            "alive_after_180_days_high": high,
            "looks": belief.grounds.looks,
            "other_lots": belief.grounds.other_lots,
            "other_looks": belief.grounds.other_looks,
            "ground": ground_view(belief.grounds.ground),
            "steps": steps.iter().map(|step| json!({
                "step": name(book, variety, &step.of),
                "adds": step.adds,
                "log_hazard": step.log_hazard,
                "alive_after_180_days": step.alive_after(OVER_DAYS),
            })).collect::<Vec<_>>(),
        })
    });
    let ids: Vec<_> = found.kind.lots.iter().map(|lot| lot.lot).collect();
    json!({
        "variety": find::variety_name(book, variety),
        "variety_id": variety,
        "unit": found.kind.unit,
        "sentence": found.kind.sentence,
        "shared_sd": beliefs.shared_sd(&ids),
        "lots": lots.collect::<Vec<_>>(),
        "emergence": {
            "alpha": emergence.rate.alpha(),
            "beta": emergence.rate.beta(),
            "mean": emergence.rate.mean(),
            "ground": ground_view(emergence.ground),
        },
        "yield": {
            "shape": yields.shape,
            "rate": yields.rate,
            "mean": yields.mean(),
            "ground": ground_view(yields.ground),
        },
    })
}

fn ground_view(ground: Ground) -> Value {
    match ground {
        Ground::FirstSeason => json!({ "from": "first-season" }),
        Ground::OwnRecords => json!({ "from": "own-records" }),
        Ground::Network { farms, lots } => {
            json!({ "from": "network", "farms": farms, "lots": lots })
        }
    }
}
