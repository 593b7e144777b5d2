//! Taking entries out, all of them or none, and what disagrees afterwards.

use diesel::sqlite::SqliteConnection;
use spareloop_domain::ledger::describe::describe;
use spareloop_domain::ledger::undo::{Standing, Undo as Undoing, undo};
use spareloop_domain::ledger::{Book, Entry, fold};
use spareloop_domain::words::Day;

use super::super::log::disagrees;
use crate::book::farm::Device;
use crate::book::undone::{self, Batch};
use crate::book::{Keep, entries, error_sentence};
use crate::desk::{Desk, draft};
use crate::fault::Fault;
use crate::fresh;

/// How entries were taken out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum How {
    /// Out of the chain's end; nobody had seen them.
    Withdrawn,
    /// By entries that the history shows.
    StruckOut,
}

impl How {
    pub(super) const fn code(self) -> &'static str {
        match self {
            Self::Withdrawn => "withdrawn",
            Self::StruckOut => "struck-out",
        }
    }

    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Withdrawn => "Withdrawn",
            Self::StruckOut => "Struck out",
        }
    }
}

/// What taking out did.
pub(super) struct Taken {
    pub(super) how: How,
    /// What disagrees since.
    pub(super) disagrees: Vec<String>,
}

/// Takes `chosen` out, the newest first: withdraws them if they are the chain's unsent end, else
/// strikes out every one. What may not be undone stops the whole act.
pub(super) fn take_out(
    connection: &mut SqliteConnection,
    (all, book, device): (&[Entry], &Book, &Device),
    chosen: &[&Entry],
    batch: Option<&Batch>,
    (day, why): (Day, Option<String>),
) -> Result<Taken, Fault> {
    let how =
        if are_the_unsent_end(all, book, device, chosen) { How::Withdrawn } else { How::StruckOut };
    let mut voids = Vec::new();
    let mut together = None;
    if chosen.len() > 1 {
        together = Some(undone::next_together(connection)?);
    }
    for entry in chosen {
        match undo(book, entry, standing(book, how, entry), why.clone()) {
            Ok(Undoing::Withdraw(_)) => {
                entries::withdraw(connection, entry)?;
                undone::cut_batches(connection, device.id, entry.seq)?;
                // A strike-out that is taken back is not kept: undo makes it anew.
                if entry.kind != "void" {
                    undone::keep(connection, entry, together)?;
                }
            }
            Ok(Undoing::AppendVoid(void)) => voids.push(draft(day, void)?),
            Err(refused) => {
                let what = error_sentence(&refused.to_string());
                return Err(Fault::refused(what, refused.hint()));
            }
        }
    }
    let voids = entries::append(connection, voids, fresh::wall_millis())?;
    if let Some(batch) = batch {
        undone::together(connection, &voids, &format!("the undoing of {}", batch.said))?;
    }
    Ok(Taken { how, disagrees: new_disagreements(connection, book)? })
}

fn are_the_unsent_end(all: &[Entry], book: &Book, device: &Device, chosen: &[&Entry]) -> bool {
    let own = all.iter().rev().filter(|entry| entry.device == device.id);
    own.zip(chosen).all(|(last, entry)| {
        last.id == entry.id
            && last.seq == entry.seq
            && last.seq.get() > device.sent
            && !book.struck_out.contains(&entry.id)
    }) && chosen.iter().all(|entry| entry.device == device.id)
}

fn standing(book: &Book, how: How, entry: &Entry) -> Standing {
    match how {
        _ if book.struck_out.contains(&entry.id) => Standing::StruckOut,
        How::Withdrawn => Standing::LastAndNotSent,
        How::StruckOut => Standing::InTheChain,
    }
}

/// What disagrees now and didn't before.
pub(super) fn new_disagreements(
    connection: &mut SqliteConnection,
    before: &Book,
) -> Result<Vec<String>, Fault> {
    let after = fold(&entries::all(connection)?);
    let new = after.problems.iter().filter(|problem| !before.problems.contains(problem));
    Ok(new.map(disagrees).collect())
}

/// What was built on an entry that is gone disagrees now; the fold carries on, and says so.
pub(super) fn with_disagreements(done: String, new: &[String]) -> String {
    if new.is_empty() {
        return done;
    }
    format!(
        "{done}\n{}\nIf those are wrong too, undo them as well, the newest first.",
        new.join("\n")
    )
}

/// Says whether it was kept.
pub(super) fn kept_word(desk: &Desk, word: &str) -> String {
    match desk.keep {
        Keep::Kept => word.to_owned(),
        Keep::Rehearsed => format!("{word} (--dry-run, nothing was written)"),
    }
}

/// "Withdrawn: took out of lot 7KQ4M: 2 lost to rot (2026-03-20)."
pub(super) fn spoken(word: &str, book: &Book, entry: &Entry) -> String {
    format!("{word}: {} ({}).", describe(book, entry), entry.on)
}
