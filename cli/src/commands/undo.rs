//! `undo`: take back the last thing noted here, or strike out an earlier one.

use clap::Args;
use serde_json::json;
use spareloop_domain::ledger::Entry;
use spareloop_domain::ledger::describe::describe;
use spareloop_domain::ledger::undo::{Standing, Undo as Undoing, undo};
use spareloop_domain::ledger::{Book, fold};

use super::log::disagrees;
use crate::book::farm::{self, Device};
use crate::book::{Keep, entries, error_sentence};
use crate::desk::{Desk, draft};
use crate::fault::Fault;
use crate::fresh;
use crate::journal::entry_code;
use crate::printer::Answer;

/// Take back the last thing noted here, or strike out an earlier one.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  spareloop undo
  spareloop undo 3f9a12c4 --why 'wrong lot'
What was not sent yet and stands last is withdrawn. Anything else is struck out by an entry that the
history shows. What two farms confirmed together can't be undone by one of them.")]
pub struct Undo {
    /// The entry, as `spareloop log` names it; unless told, the last one noted on this device.
    entry: Option<String>,
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
        let entry = pick(&all, &book, &device, it.entry.as_deref())?;
        let said = describe(&book, entry);
        let doing =
            undo(entry, standing(&all, &book, &device, entry), it.why).map_err(|refused| {
                Fault::refused(error_sentence(&refused.to_string()), refused.hint())
            })?;
        let (kind, word) = match doing {
            Undoing::Withdraw(_) => {
                entries::withdraw(connection, entry)?;
                ("withdrawn", "Withdrawn")
            }
            Undoing::AppendVoid(void) => {
                entries::append(connection, vec![draft(day, void)?], fresh::wall_millis())?;
                ("struck-out", "Struck out")
            }
        };
        let after = fold(&entries::all(connection)?);
        let new: Vec<String> = after
            .problems
            .iter()
            .filter(|problem| !book.problems.contains(problem))
            .map(disagrees)
            .collect();
        let word = match desk.keep {
            Keep::Kept => word.to_owned(),
            Keep::Rehearsed => format!("{word} (--dry-run, nothing was written)"),
        };
        Ok(Answer::new(
            "undo",
            with_disagreements(format!("{word}: {said} ({}).", entry.on), &new),
            json!({ "how": kind, "entry": entry.id, "says": said, "disagrees": new }),
        ))
    })
}

/// What was built on an entry that is gone disagrees now; the fold carries on, and says so.
fn with_disagreements(done: String, new: &[String]) -> String {
    if new.is_empty() {
        return done;
    }
    format!(
        "{done}\n{}\nIf those are wrong too, undo them as well, the newest first.",
        new.join("\n")
    )
}

fn pick<'a>(
    all: &'a [Entry],
    book: &Book,
    device: &Device,
    code: Option<&str>,
) -> Result<&'a Entry, Fault> {
    let see = "See them with: spareloop log --all";
    let Some(code) = code else {
        return all
            .iter()
            .rev()
            .find(|entry| {
                entry.device == device.id
                    && entry.kind != "void"
                    && !book.struck_out.contains(&entry.id)
            })
            .ok_or_else(|| {
                Fault::refused("Nothing was noted on this device that could be undone.", see)
            });
    };
    let wanted = code.trim().to_lowercase();
    let mut found =
        all.iter().filter(|entry| entry_code(entry.id) == wanted || entry.id.to_string() == wanted);
    match (found.next(), found.next()) {
        (Some(entry), None) => Ok(entry),
        (Some(one), Some(other)) if one.id == other.id => Ok(one),
        (Some(_), Some(_)) => Err(Fault::decision(format!("Two entries are named {code}."), see)),
        (None, _) => Err(Fault::refused(format!("The book has no entry {code}."), see)),
    }
}

fn standing(all: &[Entry], book: &Book, device: &Device, entry: &Entry) -> Standing {
    if book.struck_out.contains(&entry.id) {
        return Standing::StruckOut;
    }
    let is_own = entry.device == device.id;
    let last = all.iter().filter(|other| other.device == device.id).map(|other| other.seq).max();
    if is_own && last == Some(entry.seq) && entry.seq.get() > device.sent {
        Standing::LastAndNotSent
    } else {
        Standing::InTheChain
    }
}
