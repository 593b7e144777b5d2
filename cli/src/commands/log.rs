//! `log`: what was noted.

use clap::Args;
use serde_json::json;
use spareloop_domain::ledger::Entry;
use spareloop_domain::ledger::book::Problem;
use spareloop_domain::ledger::describe::describe;
use spareloop_domain::words::{Day, EntryId, LotId};

use crate::desk::Desk;
use crate::fault::Fault;
use crate::find;
use crate::printer::Answer;

/// What was noted, newest last.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  spareloop log\n  spareloop log --lot 7KQ4M\n  spareloop log --since 2026-11-01 --all"
)]
pub struct Log {
    /// Only entries about this lot.
    #[arg(long)]
    lot: Option<String>,
    /// Only entries of this day or later.
    #[arg(long, value_name = "DAY")]
    since: Option<Day>,
    /// All of them, not only the last 30.
    #[arg(long)]
    all: bool,
}

/// Whether an entry speaks of a lot.
pub fn speaks_of(entry: &Entry, lot: LotId) -> bool {
    entry.read_body().is_ok_and(|body| body.lots().contains(&lot))
}

/// How an entry is named on a screen: the end of its id.
pub fn entry_code(entry: EntryId) -> String {
    let id = entry.uuid().simple().to_string();
    id[id.len() - 8..].to_owned()
}

/// A problem and the entries that it is about, as `undo` takes them.
pub fn disagrees(problem: &Problem) -> String {
    let codes: Vec<String> = problem.entries.iter().map(|entry| entry_code(*entry)).collect();
    if codes.is_empty() {
        return format!("Disagrees: {}.", problem.what);
    }
    format!("Disagrees: {} ({}).", problem.what, codes.join(", "))
}

/// Runs it.
pub fn run(it: Log, desk: &Desk) -> Result<Answer, Fault> {
    let opened = desk.open()?;
    let book = &opened.book;
    let lot =
        it.lot.map(|text| find::lot(book, opened.farm.id, &text).map(|lot| lot.id)).transpose()?;
    let mut entries: Vec<&Entry> = opened
        .entries
        .iter()
        .filter(|entry| lot.is_none_or(|lot| speaks_of(entry, lot)))
        .filter(|entry| it.since.is_none_or(|since| entry.on >= since))
        .collect();
    entries.sort_by_key(|entry| entry.order());
    let hidden = if it.all { 0 } else { entries.len().saturating_sub(30) };
    let shown = entries.split_off(hidden);
    let mut lines = Vec::new();
    if hidden > 0 {
        lines.push(format!("({hidden} earlier ones: spareloop log --all)"));
    }
    for entry in &shown {
        let struck = if book.struck_out.contains(&entry.id) { "  (struck out)" } else { "" };
        let code = entry_code(entry.id);
        lines.push(format!("{}  {code}  {}{struck}", entry.on, describe(book, entry)));
    }
    if shown.is_empty() {
        lines.push("Nothing was noted yet.".to_owned());
    }
    let data: Vec<_> = shown
        .iter()
        .map(|entry| {
            json!({
                "entry": entry.id,
                "code": entry_code(entry.id),
                "on": entry.on,
                "kind": entry.kind,
                "says": describe(book, entry),
                "struck_out": book.struck_out.contains(&entry.id),
            })
        })
        .collect();
    Ok(Answer::new("log", lines.join("\n"), json!({ "entries": data })))
}
