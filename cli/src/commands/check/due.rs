//! `check due`: what to look at tonight, in walking order.

use clap::Args;
use serde_json::json;
use spareloop_domain::ledger::review::{Due as Overdue, due};
use spareloop_domain::settings::Settings;
use spareloop_domain::words::Place;

use crate::desk::Desk;
use crate::fault::Fault;
use crate::find;
use crate::printer::{Answer, table};

/// Lists what is due for a look.
#[derive(Debug, Args)]
pub struct Due {
    /// Only what lies here or within.
    #[arg(long)]
    place: Option<Place>,
    /// Days between two looks; unless told, 14, and 7 soon after storing.
    #[arg(long, value_name = "DAYS")]
    every: Option<u16>,
}

/// Runs it.
pub(super) fn run(it: Due, desk: &Desk) -> Result<Answer, Fault> {
    let opened = desk.open()?;
    let rule = Settings::default();
    let settings = it.every.map_or(rule, |days| Settings {
        check_every_days: days,
        check_every_days_at_first: days,
        ..rule
    });
    let within = |overdue: &Overdue<'_>| {
        it.place.as_ref().is_none_or(|wanted| {
            let place = overdue.lot.place.as_ref();
            place.is_some_and(|place| place.parts().starts_with(wanted.parts()))
        })
    };
    let mut overdue = due(&opened.book, desk.settings.today.value, &settings);
    overdue.retain(within);
    let rows: Vec<Vec<String>> = overdue
        .iter()
        .map(|overdue| {
            let lot = overdue.lot;
            vec![
                lot.place.as_ref().map_or_else(|| "no place noted".to_owned(), Place::to_string),
                lot.id.code(),
                find::variety_name(&opened.book, lot.variety),
                lot.in_store.to_string(),
                lot.unit.to_string(),
                overdue.days.to_string(),
            ]
        })
        .collect();
    let data: Vec<_> = overdue
        .iter()
        .map(|overdue| {
            let lot = overdue.lot;
            json!({
                "lot": lot.id,
                "code": lot.id.code(),
                "variety": find::variety_name(&opened.book, lot.variety),
                "place": lot.place,
                "in_store": lot.in_store,
                "days": overdue.days,
            })
        })
        .collect();
    let mut text = overdue_sentence(overdue.len());
    if !rows.is_empty() {
        let headers = ["place", "lot", "variety", "count", "unit", "days unseen"];
        text = format!(
            "{text}\n\n{}\n\nNote each as: spareloop check add LOT --sound N --rot N",
            table(&headers, &rows)
        );
    }
    Ok(Answer::new("check-due", text, json!({ "due": data })))
}

/// "2 lots are due for a look."
pub(super) fn overdue_sentence(lots: usize) -> String {
    match lots {
        0 => "No lot is due for a look.".to_owned(),
        1 => "1 lot is due for a look.".to_owned(),
        many => format!("{many} lots are due for a look."),
    }
}
