//! `forecast curve`: what the looks themselves show, without a model.

use clap::Args;
use serde_json::json;
use spareloop_domain::curve::Watched;
use spareloop_domain::ledger::book::Lot;
use spareloop_domain::words::{Packing, fold_key};

use crate::desk::Desk;
use crate::fault::Fault;
use crate::find;
use crate::printer::{Answer, table};

/// Asks for a curve.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  spareloop forecast curve
  spareloop forecast curve 'Ember Lantern'
  spareloop forecast curve --packing vermiculite --place cellar
The share alive by days since storing, from looks over whole lots: a unit lost was lost some time
between two looks (Turnbull's estimate). With --as-found each loss counts on the day it was found
(Kaplan and Meier's, with a standard error). No forecast comes from here.")]
pub(super) struct Curve {
    /// Only this variety.
    variety: Option<String>,
    /// Only lots in this packing.
    #[arg(long)]
    packing: Option<Packing>,
    /// Only lots in this place: its largest part, as cellar.
    #[arg(long)]
    place: Option<String>,
    /// As if each loss had come on the day it was found.
    #[arg(long)]
    as_found: bool,
}

/// One line of the curve.
struct Point {
    days: f64,
    alive: f64,
    error: Option<f64>,
    at_risk: Option<usize>,
}

/// Most lines of a drawn curve: beyond, some days are left out of the drawing and stay in the JSON.
const MOST_LINES: usize = 24;
const BAR: f64 = 40.0;

/// Runs it.
pub(super) fn run(it: &Curve, desk: &Desk) -> Result<Answer, Fault> {
    let opened = desk.book()?;
    let book = &opened.book;
    let variety = it.variety.as_ref().map(|text| find::variety(book, text)).transpose()?;
    let variety = variety.map(|card| card.id);
    let in_place = |lot: &Lot| match &it.place {
        None => true,
        Some(wanted) => lot
            .place
            .as_ref()
            .and_then(|place| place.parts().first())
            .is_some_and(|part| fold_key(part) == fold_key(wanted)),
    };
    let lots = book.lots.values().filter(|lot| {
        variety.is_none_or(|variety| lot.variety == variety)
            && it.packing.is_none_or(|packing| lot.packing == Some(packing))
            && in_place(lot)
    });
    let watched = Watched::of(lots);
    let points = points(it, &watched);
    let data = json!({
        "lots": watched.lots,
        "units": watched.units,
        "lost": watched.lost,
        "until_days": watched.until(),
        "method": if it.as_found { "kaplan-meier" } else { "turnbull" },
        "points": points.iter().map(|point| json!({
            "days": point.days,
            "alive": point.alive,
            "standard_error": point.error,
            "at_risk": point.at_risk,
        })).collect::<Vec<_>>(),
    });
    Ok(Answer::new("forecast-curve", told(&watched, &points), data))
}

fn points(it: &Curve, watched: &Watched) -> Vec<Point> {
    let start = Point { days: 0.0, alive: 1.0, error: None, at_risk: None };
    let mut points = vec![start];
    if it.as_found {
        points.extend(watched.as_found().into_iter().map(|step| Point {
            days: step.time,
            alive: step.alive,
            error: Some(step.standard_error),
            at_risk: Some(step.at_risk),
        }));
    } else {
        let mut alive = 1.0;
        for mass in watched.between_looks().into_iter().filter(|mass| mass.until.is_finite()) {
            alive -= mass.share;
            points.push(Point { days: mass.until, alive, error: None, at_risk: None });
        }
    }
    points
}

fn told(watched: &Watched, points: &[Point]) -> String {
    if watched.units == 0 {
        return "No look over a whole lot is noted of these yet, so there is no curve.".to_owned();
    }
    let last = points.last().map_or(1.0, |point| point.alive);
    let sentence = format!(
        "{} lost of {} units in {} lots, watched for up to {} days: {:.0} % alive at the end.",
        watched.lost,
        watched.units,
        watched.lots,
        watched.until(),
        100.0 * last
    );
    let every = points.len().div_ceil(MOST_LINES);
    let shown =
        points.iter().enumerate().filter(|(at, _)| at % every == 0 || at + 1 == points.len());
    let rows: Vec<Vec<String>> = shown
        .map(|(_, point)| {
            let error =
                point.error.map_or(String::new(), |error| format!("± {:.1}", 100.0 * error));
            vec![
                format!("{:.0}", point.days),
                bar(point.alive),
                format!("{:.1} %", 100.0 * point.alive),
                error,
            ]
        })
        .collect();
    format!("{sentence}\n{}", table(&["days", "", "alive", ""], &rows))
}

fn bar(alive: f64) -> String {
    // At most forty signs: a share is at most 1.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let signs = (alive.clamp(0.0, 1.0) * BAR).round() as usize;
    "#".repeat(signs)
}
