//! `undo` and `redo`: take back what was noted, bring back what was taken back.
//!
//! ```text
//! act    the two ways of taking an entry out, and what disagrees afterwards
//! redo   bringing back
//! ```
//!
//! What may not enter: what may be undone (`domain::ledger::undo` says).

mod act;
mod redo;

use clap::Args;
use serde_json::json;
use spareloop_domain::ledger::{Book, Entry, fold};

use crate::book::undone::{self, Batch};
use crate::book::{entries, farm};
use crate::desk::Desk;
use crate::fault::Fault;
use crate::journal::entry_code;
use crate::printer::{self, Answer};
use act::{Taken, take_out};

pub use redo::{Redo, run as run_redo};

/// Take back the last thing noted here, or strike out an earlier one.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  spareloop undo
  spareloop undo 3f9a12c4 --why 'wrong lot'
  spareloop undo --import
What was not sent yet and stands last is withdrawn. Anything else is struck out by an entry that the
history shows. Undo again goes one further back; spareloop redo brings back. What two farms
confirmed together can't be undone by one of them, nor what a closed season holds.")]
pub struct Undo {
    /// The entry, as `spareloop log` names it; unless told, the last one noted on this device.
    #[arg(conflicts_with = "import")]
    entry: Option<String>,
    /// All that the last import noted.
    #[arg(long)]
    import: bool,
    /// Why.
    #[arg(long)]
    why: Option<String>,
}

/// Runs it.
pub fn run(it: Undo, desk: &Desk) -> Result<Answer, Fault> {
    let day = desk.day(None);
    desk.file()?.write(desk.keep, |connection| {
        let all = entries::all(connection)?;
        let book = fold(&all);
        let device = farm::device(connection)?;
        let batches = undone::batches_of(connection, device.id)?;
        let (chosen, batch) = if it.import {
            let (batch, chosen) = last_import(&all, &book, &batches)?;
            (chosen, Some(batch))
        } else {
            let entry = match &it.entry {
                Some(code) => named(&all, code)?,
                None => last(&all, &book, &device.id, &batches)?,
            };
            (vec![entry], None)
        };
        let taken = take_out(connection, (&all, &book, &device), &chosen, batch, (day, it.why))?;
        Ok(answer(desk, &book, &chosen, batch, &taken))
    })
}

fn answer(
    desk: &Desk,
    book: &Book,
    chosen: &[&Entry],
    batch: Option<&Batch>,
    taken: &Taken,
) -> Answer {
    let word = act::kept_word(desk, taken.how.word());
    let done = match (batch, chosen) {
        (None, [entry]) => act::spoken(&word, book, entry),
        (batch, chosen) => {
            let said = batch.map_or("several", |batch| batch.said.as_str());
            format!("{word}: {said}, {}.", printer::entries(chosen.len() as u64))
        }
    };
    let ids: Vec<_> = chosen.iter().map(|entry| entry.id).collect();
    let says = match chosen {
        [entry] => spareloop_domain::ledger::describe::describe(book, entry),
        _ => batch.map(|batch| batch.said.clone()).unwrap_or_default(),
    };
    Answer::new(
        "undo",
        act::with_disagreements(done, &taken.disagrees),
        json!({
            "how": taken.how.code(),
            "entry": ids.first(),
            "entries": ids,
            "says": says,
            "disagrees": taken.disagrees,
        }),
    )
}

const SEE: &str = "See them with: spareloop log --all";

/// The last entry of this device that stands. One that an import noted with others is asked about.
fn last<'a>(
    all: &'a [Entry],
    book: &Book,
    device: &spareloop_domain::words::DeviceId,
    batches: &[Batch],
) -> Result<&'a Entry, Fault> {
    let stands = |entry: &&Entry| entry.kind != "void" && !book.struck_out.contains(&entry.id);
    let entry = all.iter().rev().find(|entry| entry.device == *device && stands(entry));
    let entry = entry.ok_or_else(|| {
        Fault::refused("Nothing was noted on this device that could be undone.", SEE)
    })?;
    let Some(batch) = batches.iter().rfind(|batch| batch.holds(entry)) else { return Ok(entry) };
    let others = all.iter().filter(|other| batch.holds(other) && stands(other)).count();
    if others < 2 {
        return Ok(entry);
    }
    Err(Fault::decision(
        format!("The last thing noted here was {}: {others} entries.", batch.said),
        format!(
            "All of it: spareloop undo --import\nOnly its last entry: spareloop undo {}",
            entry_code(entry.id)
        ),
    )
    .keeping("Nothing was undone."))
}

/// The last import of which anything stands, with what stands of it, the newest first.
fn last_import<'a, 'b>(
    all: &'a [Entry],
    book: &Book,
    batches: &'b [Batch],
) -> Result<(&'b Batch, Vec<&'a Entry>), Fault> {
    let stands = |entry: &&Entry| entry.kind != "void" && !book.struck_out.contains(&entry.id);
    batches
        .iter()
        .rev()
        .map(|batch| {
            let of_it = all.iter().rev().filter(|entry| batch.holds(entry) && stands(entry));
            (batch, of_it.collect::<Vec<_>>())
        })
        .find(|(_, of_it)| !of_it.is_empty())
        .ok_or_else(|| Fault::refused("No import on this device could be undone.", SEE))
}

fn named<'a>(all: &'a [Entry], code: &str) -> Result<&'a Entry, Fault> {
    let wanted = code.trim().to_lowercase();
    let mut found =
        all.iter().filter(|entry| entry_code(entry.id) == wanted || entry.id.to_string() == wanted);
    match (found.next(), found.next()) {
        (Some(entry), None) => Ok(entry),
        (Some(one), Some(other)) if one.id == other.id => Ok(one),
        (Some(_), Some(_)) => Err(Fault::decision(format!("Two entries are named {code}."), SEE)),
        (None, _) => Err(Fault::refused(format!("The book has no entry {code}."), SEE)),
    }
}
