//! `status`: where things stand, offline, ending with the next thing to do.

use std::cmp::Reverse;

use clap::Args;
use serde_json::json;
use spareloop_domain::ledger::Book;
use spareloop_domain::ledger::book::Lot;
use spareloop_domain::ledger::review;
use spareloop_domain::settings::Settings;
use spareloop_domain::words::{Day, UnitKind};

use crate::book::{BookError, acts, entries, link, parked};
use crate::desk::Desk;
use crate::fault::Fault;
use crate::find;
use crate::printer::{self, Answer};

/// Where things stand, and the next thing to do. Works offline.
#[derive(Debug, Args)]
#[command(after_help = "Example: spareloop status")]
pub struct Status {}

/// Runs it.
pub fn run(_: Status, desk: &Desk) -> Result<Answer, Fault> {
    let mut opened = desk.book()?;
    let today = desk.settings.today.value;
    let (unsent, parked, far_ahead, waiting, link) = opened.file.read(|connection| {
        Ok::<_, BookError>((
            entries::count_unsent(connection)?,
            parked::waiting(connection)?,
            entries::far_ahead(connection)?.len() as u64,
            acts::waiting(connection)?,
            link::find(connection)?,
        ))
    })?;
    let book = &opened.book;
    let due = due(book, today);
    let mut lines = vec![format!("{}: {}.", opened.farm.name, stock_sentence(book))];
    if !due.is_empty() {
        lines.push(format!("Due for a look: {}.", due_sentence(book, &due)));
    }
    lines.extend(book.problems.iter().map(super::log::disagrees));
    lines.extend(parked.iter().map(|aside| {
        format!("Set aside: {} of {}: {}", aside.entry.kind, aside.entry.on, aside.detail)
    }));
    if !parked.is_empty() {
        lines.push("Why, and what to do: spareloop sync parked".to_owned());
    }
    if far_ahead > 0 {
        lines.push(format!(
            "{} made by a clock set more than a day ahead: set that device's clock right. (spareloop log shows which)",
            printer::entries(far_ahead)
        ));
    }
    lines.extend(waiting.iter().map(|act| format!("Waits to be sent: {}.", act.said)));
    if link.is_some() && unsent > 0 {
        lines.push(format!("Not yet sent: {unsent} of the book's entries."));
    }
    // Without a network nothing is waiting to be sent.
    let to_send = link.as_ref().map_or(0, |_| unsent + waiting.len() as u64);
    let next = next(book, &due, to_send);
    lines.push(format!("\nNext: {next}"));
    let data = json!({
        "farm": opened.farm.name,
        "due": due.iter().map(|(_, lot)| lot.id.code()).collect::<Vec<_>>(),
        "problems": book.problems.iter().map(|problem| problem.what.to_string()).collect::<Vec<_>>(),
        "set_aside": parked.len(),
        "clock_far_ahead": far_ahead,
        "acts_waiting": waiting.len(),
        "unsent": unsent,
        "next": next,
    });
    Ok(Answer::new("status", lines.join("\n"), data))
}

fn stock_sentence(book: &Book) -> String {
    let lots = book.lots.values().filter(|lot| !lot.in_store.is_zero()).count();
    if lots == 0 {
        return "nothing in store by the book".to_owned();
    }
    let by_unit: Vec<String> = UnitKind::ALL
        .iter()
        .filter_map(|unit| {
            let count: u64 = book
                .lots
                .values()
                .filter(|lot| lot.unit == *unit)
                .map(|lot| u64::from(lot.in_store.get()))
                .sum();
            let word = if count == 1 { unit.to_string() } else { unit.plural() };
            (count > 0).then(|| format!("{count} {word}"))
        })
        .collect();
    let lots = if lots == 1 { "1 lot".to_owned() } else { format!("{lots} lots") };
    format!("{} in {lots}", by_unit.join(", "))
}

/// Lots that should be looked at, longest unseen first.
fn due(book: &Book, today: Day) -> Vec<(u32, &Lot)> {
    let mut due: Vec<(u32, &Lot)> = review::due(book, today, &Settings::default())
        .into_iter()
        .map(|due| (due.days, due.lot))
        .collect();
    due.sort_by_cached_key(|(days, lot)| {
        (Reverse(*days), find::variety_name(book, lot.variety), lot.place.clone(), lot.id)
    });
    due
}

fn due_sentence(book: &Book, due: &[(u32, &Lot)]) -> String {
    let named: Vec<String> = due
        .iter()
        .take(5)
        .map(|(days, lot)| {
            format!("{} {} ({days} days)", lot.id.code(), find::variety_name(book, lot.variety))
        })
        .collect();
    let more = due.len().saturating_sub(5);
    let more =
        if more > 0 { format!(" and {more} more (spareloop check due)") } else { String::new() };
    format!("{}{more}", named.join(", "))
}

fn next(book: &Book, due: &[(u32, &Lot)], to_send: u64) -> String {
    if book.lots.is_empty() {
        return "spareloop import stock FILE, or spareloop lot lift VARIETY --clumps N".to_owned();
    }
    if let Some((_, lot)) = due.first() {
        return format!(
            "look at lot {}, then: spareloop check add {} --sound N --rot N",
            lot.id.code(),
            lot.id.code()
        );
    }
    if !book.problems.is_empty() {
        return "settle what disagrees: spareloop check book shows the entries and what to do"
            .to_owned();
    }
    if book.plans.is_empty() {
        return "say what is wanted: spareloop plan set VARIETY --plants N --planting DAY"
            .to_owned();
    }
    if to_send > 0 {
        return "spareloop sync".to_owned();
    }
    "spareloop forecast".to_owned()
}
