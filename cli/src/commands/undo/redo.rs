//! `redo`: bring back what was undone last on this device.

use std::collections::BTreeSet;

use clap::Args;
use diesel::sqlite::SqliteConnection;
use serde_json::json;
use spareloop_domain::ledger::draft::check_draft;
use spareloop_domain::ledger::redo::{Redo as Redoing, redo};
use spareloop_domain::ledger::{Body, Book, Draft, Entry, Hash, fold};
use spareloop_domain::words::EntryId;

use super::act::{kept_word, new_disagreements, spoken, take_out, with_disagreements};
use crate::book::farm::{self, Device};
use crate::book::undone::{self, Batch, Withdrawn};
use crate::book::{entries, error_sentence};
use crate::desk::{Desk, standing};
use crate::fault::Fault;
use crate::fresh;
use crate::printer::{self, Answer};

/// Bring back what was undone last on this device.
#[derive(Debug, Args)]
#[command(after_help = "\
Example: spareloop redo
Only while nothing else was noted on this device since. Redo again brings back what was undone
before that; an import that was undone as a whole comes back as a whole.")]
pub struct Redo {}

/// Runs it.
pub fn run(_: Redo, desk: &Desk) -> Result<Answer, Fault> {
    desk.file()?.write(desk.keep, |connection| {
        let device = farm::device(connection)?;
        let all = entries::all(connection)?;
        let book = fold(&all);
        let back = match Step::find(connection, &device, &all, &book)? {
            Step::NoteAgain(withdrawn) => note_again(connection, desk, (&all, &book), &withdrawn)?,
            Step::BringBack { strike_outs, entries } => {
                let chosen: Vec<&Entry> = strike_outs.iter().collect();
                take_out(
                    connection,
                    (&all, &book, &device),
                    &chosen,
                    None,
                    (desk.day(None), None),
                )?;
                entries
            }
        };
        answer(connection, desk, &book, &back)
    })
}

fn answer(
    connection: &mut SqliteConnection,
    desk: &Desk,
    before: &Book,
    back: &[Entry],
) -> Result<Answer, Fault> {
    let now = fold(&entries::all(connection)?);
    let word = kept_word(desk, "Brought back");
    let mut done = match back {
        [entry] => spoken(&word, &now, entry),
        _ => format!("{word}: {}.", printer::entries(back.len() as u64)),
    };
    if back.iter().any(|entry| now.struck_out.contains(&entry.id)) {
        done.push_str("\nIt is struck out by another entry too, so it doesn't count yet: see spareloop log --all");
    }
    let new = new_disagreements(connection, before)?;
    let ids: Vec<EntryId> = back.iter().map(|entry| entry.id).collect();
    let data = json!({ "entries": ids, "disagrees": new });
    Ok(Answer::new("redo", with_disagreements(done, &new), data))
}

/// What comes back: one entry, or all that one undo took out.
enum Step {
    /// The newest number first, which is the order in which they stood.
    NoteAgain(Vec<Withdrawn>),
    /// The strike-outs, the newest first, and what they struck out.
    BringBack { strike_outs: Vec<Entry>, entries: Vec<Entry> },
}

impl Step {
    fn find(
        connection: &mut SqliteConnection,
        device: &Device,
        all: &[Entry],
        book: &Book,
    ) -> Result<Self, Fault> {
        let own: Vec<Entry> =
            all.iter().filter(|entry| entry.device == device.id).cloned().collect();
        let mut withdrawn = undone::all(connection)?;
        withdrawn.retain(|it| it.entry.device == device.id);
        let behind: Vec<Hash> = withdrawn.iter().map(|it| it.behind).collect();
        match redo(&own, &book.struck_out, &behind) {
            Some(Redoing::NoteAgain(number)) => {
                let first = withdrawn.swap_remove(number);
                withdrawn.retain(|it| it.batch.is_some() && it.batch == first.batch);
                withdrawn.sort_by_key(|it| std::cmp::Reverse(it.number));
                withdrawn.insert(0, first);
                Ok(Self::NoteAgain(withdrawn))
            }
            Some(Redoing::BringBack { strike_out, .. }) => {
                let batches = undone::batches_of(connection, device.id)?;
                Ok(Self::bring_back(all, book, &own, strike_out, &batches))
            }
            None => Err(Fault::refused(
                "Nothing was undone on this device that could come back.",
                "Redo works until something else is noted. Note it again, or see: spareloop log --all",
            )),
        }
    }

    fn bring_back(
        all: &[Entry],
        book: &Book,
        own: &[Entry],
        strike_out: EntryId,
        batches: &[Batch],
    ) -> Self {
        let is_it = |entry: &&Entry| entry.id == strike_out;
        let batch =
            own.iter().find(is_it).and_then(|one| batches.iter().rfind(|batch| batch.holds(one)));
        let belongs = |entry: &&Entry| batch.map_or(is_it(entry), |batch| batch.holds(entry));
        let holds = |entry: &&Entry| !book.struck_out.contains(&entry.id);
        let strike_outs: Vec<Entry> =
            own.iter().rev().filter(|it| belongs(it) && holds(it)).cloned().collect();
        let targets: BTreeSet<EntryId> = strike_outs
            .iter()
            .filter_map(|entry| match entry.read_body() {
                Ok(Body::Void(void)) => Some(void.entry),
                _ => None,
            })
            .collect();
        let entries = all.iter().filter(|entry| targets.contains(&entry.id)).cloned().collect();
        Self::BringBack { strike_outs, entries }
    }
}

/// Notes withdrawn entries anew, under new ids. One alone is held against the rules at the door
/// again; several came in by one act and were held against them then.
fn note_again(
    connection: &mut SqliteConnection,
    desk: &Desk,
    (all, book): (&[Entry], &Book),
    withdrawn: &[Withdrawn],
) -> Result<Vec<Entry>, Fault> {
    let mut drafts = Vec::with_capacity(withdrawn.len());
    for it in withdrawn {
        let body = it.entry.read_body().map_err(|error| {
            Fault::failed(error_sentence(&error.to_string()), "Note it again instead.")
        })?;
        drafts.push(Draft { id: EntryId::new(fresh::uuid()?), on: it.entry.on, body });
    }
    if let [draft] = drafts.as_slice() {
        let today = desk.settings.today.value;
        check_draft(&standing(book, all, draft.on), draft, today).map_err(|refusal| {
            Fault::refused(error_sentence(&refusal.to_string()), refusal.hint())
                .keeping("It stays undone.")
        })?;
    }
    let noted = entries::append(connection, drafts, fresh::wall_millis())?;
    for (it, again) in withdrawn.iter().zip(&noted) {
        undone::brought_back(connection, it, again)?;
    }
    if noted.len() > 1 {
        undone::together(connection, &noted, "what was brought back together")?;
    }
    Ok(noted)
}
