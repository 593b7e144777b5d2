//! `check due`: what to look at tonight, how many of each and why, in walking order.

use std::collections::BTreeMap;

use clap::Args;
use serde_json::{Value, json};
use spareloop_domain::forecast::outlook::LookDue;
use spareloop_domain::ledger::Book;
use spareloop_domain::sampling::Aim;
use spareloop_domain::settings::Settings;
use spareloop_domain::tonight::{Belief, Evening, ToLookAt, Which, tonight};
use spareloop_domain::words::{LotId, Place};

use crate::book::{error_sentence, link};
use crate::commands::forecast;
use crate::desk::{Desk, OpenedBook};
use crate::fault::Fault;
use crate::find;
use crate::printer::{Answer, table};

/// Lists what is due for a look.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Due {
    /// Only what lies here or within.
    #[arg(long)]
    place: Option<Place>,
    /// Days between two looks; unless told, 14, and 7 soon after storing.
    #[arg(long, value_name = "DAYS")]
    every: Option<u16>,
    /// So many lots at most: those whose look tells most.
    #[arg(long, value_name = "N")]
    limit: Option<usize>,
    /// Also lots that are not due.
    #[arg(long)]
    all: bool,
    /// The share of units with trouble that must not be missed.
    #[arg(long, default_value_t = Settings::default().look_level)]
    level: f64,
    /// How sure to be to find it.
    #[arg(long, default_value_t = Settings::default().look_confidence)]
    confidence: f64,
    /// The chance that a look at a unit with trouble sees it.
    #[arg(long, default_value_t = 1.0)]
    efficacy: f64,
}

/// Runs it.
pub(super) fn run(it: Due, desk: &Desk) -> Result<Answer, Fault> {
    let aim = Aim::new(it.level, it.confidence, it.efficacy).map_err(|error| {
        Fault::refused(error_sentence(&error.to_string()), "Correct it and ask again.")
    })?;
    let mut opened = desk.book()?;
    let promised = opened.file.read(link::promised)?;
    let beliefs = opened.beliefs()?;
    let rule = Settings::default();
    let settings = it.every.map_or(rule, |days| Settings {
        check_every_days: days,
        check_every_days_at_first: days,
        ..rule
    });
    let today = desk.settings.today.value;
    let OpenedBook { farm, mut book, .. } = opened;
    let sheet = forecast::sheet(&book, &farm, today, None, &promised, &beliefs)?;
    // What lies elsewhere takes no place on a list with a limit.
    book.lots.retain(|_, lot| {
        it.place.as_ref().is_none_or(|wanted| {
            lot.place.as_ref().is_some_and(|place| place.parts().starts_with(wanted.parts()))
        })
    });
    let beliefs: BTreeMap<LotId, Belief> = sheet
        .iter()
        .flat_map(|kind| kind.lots.iter().map(|lot| (kind.on, lot)))
        .map(|(on, lot)| (lot.lot, Belief::until(lot.belief.hazard, on)))
        .collect();
    let which = if it.all { Which::All } else { Which::Due };
    let evening =
        Evening { today, settings: &settings, aim, which, promised: &promised, beliefs: &beliefs };
    let every = tonight(&book, &evening, None).len();
    let list = tonight(&book, &evening, it.limit);
    let data: Vec<Value> = list.iter().map(|entry| view(&book, entry)).collect();
    let text = text(&book, &list, every, which);
    Ok(Answer::new("check-due", text, json!({ "of": every, "due": data })))
}

fn text(book: &Book, list: &[ToLookAt<'_>], every: usize, which: Which) -> String {
    let mut first = match which {
        Which::Due => overdue_sentence(every),
        Which::All => match every {
            0 => "Nothing is in store.".to_owned(),
            1 => "1 lot is in store.".to_owned(),
            many => format!("{many} lots are in store."),
        },
    };
    if list.is_empty() {
        return first;
    }
    if list.len() < every {
        first = format!("{first} These {} first:", list.len());
    }
    let rows: Vec<Vec<String>> = list.iter().map(|entry| row(book, entry)).collect();
    let headers = ["place", "lot", "variety", "count", "unit", "days unseen", "look at"];
    let reasons: Vec<String> = list.iter().map(reason).collect();
    format!(
        "{first}\n\n{}\n\n{}\n\nNote each as: spareloop check add LOT --sound N --rot N (with --sample if some were left)",
        table(&headers, &rows),
        reasons.join("\n")
    )
}

fn row(book: &Book, entry: &ToLookAt<'_>) -> Vec<String> {
    let lot = entry.lot;
    vec![
        lot.place.as_ref().map_or_else(|| "no place noted".to_owned(), Place::to_string),
        lot.id.code(),
        find::variety_name(book, lot.variety),
        lot.in_store.to_string(),
        lot.unit.to_string(),
        entry.unseen_days.to_string(),
        entry.how_many.units(lot).to_string(),
    ]
}

fn reason(entry: &ToLookAt<'_>) -> String {
    let why = entry.why();
    format!("{}: {}. Why: {why}", entry.lot.id.code(), entry.how_many_in_words())
}

fn view(book: &Book, entry: &ToLookAt<'_>) -> Value {
    let lot = entry.lot;
    json!({
        "lot": lot.id,
        "code": lot.id.code(),
        "variety": find::variety_name(book, lot.variety),
        "place": lot.place,
        "in_store": lot.in_store,
        "days": entry.unseen_days,
        "is_due": matches!(entry.due, LookDue::Due { .. }),
        "rank": entry.rank,
        "promised": entry.promised,
        "look_at": entry.how_many.units(lot),
        "look_at_says": entry.how_many_in_words(),
        "sd_now": entry.telling.map(|telling| telling.sd_now()),
        "sd_after": entry.telling.map(|telling| telling.sd_after()),
        "variance_told": entry.telling.map(|telling| telling.variance_told),
        "why": entry.why(),
    })
}

/// "2 lots are due for a look."
pub(super) fn overdue_sentence(lots: usize) -> String {
    match lots {
        0 => "No lot is due for a look.".to_owned(),
        1 => "1 lot is due for a look.".to_owned(),
        many => format!("{many} lots are due for a look."),
    }
}
