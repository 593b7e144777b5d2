//! `log`: what was noted, and what was struck out, by whom and why.

use clap::Args;
use serde_json::{Value, json};
use spareloop_domain::ledger::book::Problem;
use spareloop_domain::ledger::describe::describe;
use spareloop_domain::ledger::{Body, Book, Entry};
use spareloop_domain::words::{Day, LotId, VarietyId, near_misses};

use crate::book::{BookError, carry, entries, parked};
use crate::desk::{Desk, Opened};
use crate::fault::Fault;
use crate::find::{self, did_you_mean};
use crate::journal::{Journal, Noted, device_code, entry_code};
use crate::printer::{Answer, Format};

/// Entries that are shown unless told.
const SHOWN: usize = 30;

/// Said of an entry whose device's clock was set more than a day ahead of the server's.
const FAR_AHEAD: &str = "  (its device's clock was more than a day ahead)";

/// What was noted, newest last.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  spareloop log
  spareloop log --lot 7KQ4M
  spareloop log --variety 'Ember Lantern' --kind check --since 2026-11-01 --all
  spareloop log --limit 50 --before 3f9a12c4
A line has the day, the entry's code (as undo takes it) and what was noted. What was struck out
stays and says by whom, when and why. With --json each entry is whole, and all are given unless
--limit says otherwise.")]
pub struct Log {
    /// Only entries about this lot.
    #[arg(long)]
    lot: Option<String>,
    /// Only entries about this variety or a lot of it.
    #[arg(long)]
    variety: Option<String>,
    /// Only entries of this day or later.
    #[arg(long, value_name = "DAY")]
    since: Option<Day>,
    /// Only entries of this kind, as check, divide or loss.
    #[arg(long)]
    kind: Option<String>,
    /// Only entries noted on this device, by its name or the end of its id.
    #[arg(long)]
    device: Option<String>,
    /// At most so many, the last ones.
    #[arg(long, value_name = "N", conflicts_with = "all")]
    limit: Option<usize>,
    /// Only what stands before this entry, to page back.
    #[arg(long, value_name = "ENTRY")]
    before: Option<String>,
    /// All of them, not only the last 30.
    #[arg(long)]
    all: bool,
}

/// Whether an entry speaks of a lot.
pub fn speaks_of(entry: &Entry, lot: LotId) -> bool {
    entry.read_body().is_ok_and(|body| body.lots().contains(&lot))
}

/// A problem and the entries that it is about, as `undo` takes them.
pub fn disagrees(problem: &Problem) -> String {
    let codes: Vec<String> = problem.entries.iter().map(|entry| entry_code(*entry)).collect();
    if codes.is_empty() {
        return format!("Disagrees: {}.", problem.what);
    }
    format!("Disagrees: {} ({}).", problem.what, codes.join(", "))
}

fn is_about(book: &Book, entry: &Entry, variety: VarietyId) -> bool {
    entry.read_body().is_ok_and(|body| {
        let of_lot = |lot| book.lots.get(lot).is_some_and(|lot| lot.variety == variety);
        body.variety() == Some(variety) || body.lots().iter().any(of_lot)
    })
}

/// The kind's code, by its code or the words for people, or one that a newer version noted.
fn kind_code(entries: &[Entry], text: &str) -> Result<String, Fault> {
    let plain = |word: &str| word.trim().to_lowercase().replace(['_', ' '], "-");
    let wanted = plain(text);
    let mut known: Vec<&str> = Body::KINDS.to_vec();
    known.extend(entries.iter().map(|entry| entry.kind.as_str()));
    if let Some(code) = known.iter().find(|code| plain(code) == wanted) {
        return Ok((*code).to_owned());
    }
    let near = near_misses(text, Body::KINDS.iter().copied());
    Err(Fault::refused(
        format!("There is no kind of entry named '{text}'."),
        format!("{}The kinds are: {}.", did_you_mean(&near), Body::KINDS.join(", ")),
    ))
}

/// The entries that are asked for, in the order of the book.
fn wanted<'a>(
    it: &Log,
    opened: &'a Opened,
    journal: &Journal<'_>,
) -> Result<Vec<&'a Entry>, Fault> {
    let book = &opened.book;
    let lot = it.lot.as_ref().map(|text| find::lot(book, opened.farm.id, text)).transpose()?;
    let variety = it.variety.as_ref().map(|text| find::variety(book, text)).transpose()?;
    let kind = it.kind.as_ref().map(|text| kind_code(&opened.entries, text)).transpose()?;
    if let Some(text) = &it.device {
        refuse_unknown_device(opened, journal, text)?;
    }
    let mut entries: Vec<&Entry> = opened
        .entries
        .iter()
        .filter(|entry| it.since.is_none_or(|since| entry.on >= since))
        .filter(|entry| kind.as_ref().is_none_or(|kind| entry.kind == *kind))
        .filter(|entry| it.device.as_ref().is_none_or(|text| journal.is_called(entry.device, text)))
        .filter(|entry| lot.is_none_or(|lot| speaks_of(entry, lot.id)))
        .filter(|entry| variety.is_none_or(|card| is_about(book, entry, card.id)))
        .collect();
    entries.sort_by_key(|entry| entry.order());
    if let Some(text) = &it.before {
        let named = text.trim().to_lowercase();
        let all = opened.entries.iter();
        let before = all
            .filter(|entry| entry_code(entry.id) == named || entry.id.to_string() == named)
            .map(Entry::order)
            .min()
            .ok_or_else(|| {
                Fault::refused(
                    format!("The book has no entry {text}."),
                    "See the codes with: spareloop log",
                )
            })?;
        entries.retain(|entry| entry.order() < before);
    }
    Ok(entries)
}

fn refuse_unknown_device(opened: &Opened, journal: &Journal<'_>, text: &str) -> Result<(), Fault> {
    let mut devices: Vec<_> = opened.entries.iter().map(|entry| entry.device).collect();
    devices.sort_unstable();
    devices.dedup();
    if devices.iter().any(|device| journal.is_called(*device, text)) {
        return Ok(());
    }
    let known: Vec<String> = devices
        .iter()
        .map(|device| format!("{} ({})", device_code(*device), journal.device(*device)))
        .collect();
    Err(Fault::refused(
        format!("No entry was noted on a device called '{text}'."),
        format!("Entries were noted on: {}.", known.join(", ")),
    ))
}

/// Runs it.
pub fn run(it: Log, desk: &Desk) -> Result<Answer, Fault> {
    let mut opened = desk.open()?;
    let (devices, far_ahead, set_aside) = opened.file.read(|connection| {
        let far_ahead = entries::far_ahead(connection)?;
        Ok::<_, BookError>((carry::devices(connection)?, far_ahead, parked::waiting(connection)?))
    })?;
    let journal = Journal::of(&opened.book, &opened.entries, &devices);
    let mut asked = wanted(&it, &opened, &journal)?;
    let limit = match (it.limit, desk.format) {
        (Some(limit), _) => limit,
        (None, _) if it.all => asked.len(),
        (None, Format::Json) => asked.len(),
        (None, Format::Text) => SHOWN,
    };
    let hidden = asked.len().saturating_sub(limit);
    let shown = asked.split_off(hidden);
    let noted: Vec<Noted<'_>> = shown.iter().map(|entry| journal.noted(entry)).collect();
    let mut lines = Vec::new();
    if let Some(first) = noted.first().filter(|_| hidden > 0) {
        lines.push(format!(
            "({hidden} earlier ones: --all, or page back with --before {})",
            first.code
        ));
    }
    lines.extend(noted.iter().zip(&shown).map(|(noted, entry)| {
        let clock = if far_ahead.contains(&entry.id) { FAR_AHEAD } else { "" };
        line(noted, &journal) + clock
    }));
    if noted.is_empty() {
        lines.push(if opened.entries.is_empty() {
            "Nothing was noted yet.".to_owned()
        } else {
            "Nothing that was noted fits that.".to_owned()
        });
    }
    lines.extend(set_aside.iter().map(|one| {
        let says = describe(&opened.book, &one.entry);
        format!("{}  set aside, not in the book: {says}", one.entry.on)
    }));
    if !set_aside.is_empty() {
        lines.push("Why, and what to do: spareloop sync parked".to_owned());
    }
    let data: Value = match desk.format {
        Format::Json => json!({
            "entries": noted,
            "earlier": hidden,
            "clock_far_ahead": far_ahead,
            "set_aside": set_aside.len(),
        }),
        // Long histories are not spelled twice for an answer that isn't asked for.
        Format::Text => Value::Null,
    };
    Ok(Answer::new("log", lines.join("\n"), data))
}

fn line(noted: &Noted<'_>, journal: &Journal<'_>) -> String {
    let strike =
        journal.spoken_strike(noted).map(|spoken| format!("  ({spoken})")).unwrap_or_default();
    format!("{}  {}  {}{strike}", noted.on, noted.code, noted.says)
}
