//! Spreadsheets in: read, map columns, plan, preview, and only then write, all at once.
//!
//! ```text
//! reading   bytes -> rows of text (encoding, delimiter, quotes, limits)
//! columns   headings -> fields
//! dates     days as people write them
//! cells     counts, strengths and names out of a cell
//! lasting   ids that are the same on every device
//! memory    what rows said before
//! again     rows about a lot that is in the book already
//! scratch   the book as it will be, row by row, so that the rules at the door judge each row
//! stock, checks, lifted, bench, plan   one kind of file each
//! ledger, brought   a whole stock book in: its lines, and what is asked first
//! ```
//!
//! What may not enter: a rule of the trade. Every draft is held against `domain`'s rules at the
//! door, as if it had been typed.

mod again;
mod bench;
pub mod brought;
mod cells;
mod checks;
mod columns;
mod dates;
pub(crate) mod lasting;
pub mod ledger;
mod lifted;
mod memory;
mod plan;
mod reading;
mod scratch;
mod stock;

use std::path::Path;

use serde::Serialize;
use serde_json::json;
use spareloop_domain::words::{Day, Packing, UnitKind};

use crate::ask::{Asking, Consent};
use crate::book::copies::Before;
use crate::book::{BookError, Keep, entries, farm, imports};
use crate::desk::Desk;
use crate::fault::{Exit, Fault};
use crate::fresh;
use crate::printer::{self, Answer};

pub use dates::DateOrder;

use columns::Columns;
use memory::Memory;
use reading::Sheet;
use scratch::Scratch;

/// The kinds of file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FileKind {
    /// Stock on hand.
    Stock,
    /// Storage checks.
    Checks,
    /// Clumps lifted.
    Lifted,
    /// Clumps divided.
    Bench,
    /// Plants wanted.
    Plan,
}

impl FileKind {
    /// The kind as typed and stored.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Stock => "stock",
            Self::Checks => "checks",
            Self::Lifted => "lifted",
            Self::Bench => "bench",
            Self::Plan => "plan",
        }
    }
}

/// What becomes of the rest when rows are wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WrongRows {
    /// Nothing is written.
    StopAll,
    /// The wrong rows are left out, the rest is written.
    LeftOut,
}

/// Whether a name much like a known one may be new.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NearNames {
    /// It is a slip of the pen: the row is wrong.
    AreSlips,
    /// It is another variety.
    AreNew,
}

/// How a file is read.
#[derive(Debug, Clone)]
pub struct Options {
    /// Columns mapped by hand.
    pub map: Vec<String>,
    /// Which comes first in dates that don't show it.
    pub date_order: Option<DateOrder>,
    /// The day of rows without one.
    pub on: Day,
    /// The unit of rows without one.
    pub unit: UnitKind,
    /// The packing of rows without one.
    pub packing: Option<Packing>,
    /// What becomes of the rest when rows are wrong.
    pub wrong_rows: WrongRows,
    /// Whether names much like a known one may be new.
    pub near_names: NearNames,
}

/// What becomes of a row.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Fate {
    /// Adds something.
    New,
    /// Changes what an earlier import of it said.
    Changed(String),
    /// Is in the book already.
    Skipped,
    /// Can't be written, and why.
    Wrong(String),
}

#[derive(Debug, Default, Serialize)]
struct Preview {
    new: u64,
    changed: u64,
    skipped: u64,
    wrong: u64,
    rows: Vec<RowNote>,
    not_read: Vec<String>,
    named: Vec<String>,
}

#[derive(Debug, Serialize)]
struct RowNote {
    row: u64,
    what: &'static str,
    why: String,
}

/// Notes on rows that a preview carries at most; the counts always cover all.
const MOST_NOTES: usize = 1_000;
/// Notes on rows that are shown to people.
const MOST_SHOWN: usize = 20;

impl Preview {
    fn count(&mut self, row: u64, fate: Fate) {
        let (counter, what, why) = match fate {
            Fate::New => (&mut self.new, "new", None),
            Fate::Skipped => (&mut self.skipped, "skipped", None),
            Fate::Changed(why) => (&mut self.changed, "changed", Some(why)),
            Fate::Wrong(why) => (&mut self.wrong, "wrong", Some(why)),
        };
        *counter += 1;
        if let Some(why) = why.filter(|_| self.rows.len() < MOST_NOTES) {
            self.rows.push(RowNote { row, what, why });
        }
    }

    fn text(&self, file: &Path) -> String {
        let mut lines = vec![format!(
            "{}: {} new, {} changed, {} skipped (in the book already), {} wrong.",
            file.display(),
            self.new,
            self.changed,
            self.skipped,
            self.wrong
        )];
        if !self.named.is_empty() {
            lines.push(format!("Varieties named by it: {}.", self.named.join(", ")));
        }
        if !self.not_read.is_empty() {
            lines.push(format!("Columns not read: {}.", self.not_read.join(", ")));
        }
        lines.extend(
            self.rows
                .iter()
                .take(MOST_SHOWN)
                .map(|note| format!("  row {}: {}: {}", note.row, note.what, note.why)),
        );
        let hidden = self.rows.len().saturating_sub(MOST_SHOWN);
        if hidden > 0 {
            lines.push(format!("  and {hidden} more (all with --json)"));
        }
        lines.join("\n")
    }
}

/// Imports a file: previews it, and writes it once that is agreed to.
pub fn run(desk: &Desk, kind: FileKind, file: &Path, options: &Options) -> Result<Answer, Fault> {
    let sheet = Sheet::read(file)?;
    let mut opened = desk.open()?;
    let (remembered, known_columns) = opened.file.read(|connection| {
        Ok::<_, BookError>((
            imports::rows(connection, kind.code())?,
            imports::columns(connection, kind.code())?,
        ))
    })?;
    let columns = Columns::map(fields(kind), &sheet.headings, &options.map, &known_columns)?;
    let order = dates::order(&sheet, &columns, options.date_order)?;
    let known_entries = opened.entries.len() as u64;
    let mut scratch = Scratch::new(
        opened.farm,
        opened.book,
        Memory::of(remembered),
        desk.settings.today.value,
        options.near_names,
    );
    let mut preview = Preview { not_read: columns.not_read(&sheet.headings), ..Preview::default() };
    for record in &sheet.records {
        let row = cells::Row { record, columns: &columns, order, options };
        let fate = scratch.attempt(|scratch| match kind {
            FileKind::Stock => stock::plan(&row, scratch),
            FileKind::Checks => checks::plan(&row, scratch),
            FileKind::Lifted => lifted::plan(&row, scratch),
            FileKind::Bench => bench::plan(&row, scratch),
            FileKind::Plan => plan::plan(&row, scratch),
        })?;
        preview.count(record.row, fate);
    }
    preview.named = scratch.named();
    decide(desk, kind, file, options, preview, |desk| {
        write(desk, kind, &columns, scratch, known_entries)
    })
}

const fn fields(kind: FileKind) -> &'static [columns::Field] {
    match kind {
        FileKind::Stock => stock::FIELDS,
        FileKind::Checks => checks::FIELDS,
        FileKind::Lifted => lifted::FIELDS,
        FileKind::Bench => bench::FIELDS,
        FileKind::Plan => plan::FIELDS,
    }
}

fn decide(
    desk: &Desk,
    kind: FileKind,
    file: &Path,
    options: &Options,
    preview: Preview,
    write: impl FnOnce(&Desk) -> Result<u64, Fault>,
) -> Result<Answer, Fault> {
    let text = preview.text(file);
    let answer = |text: String, written: u64| {
        Answer::new(
            "import",
            text,
            json!({ "file": file, "file_kind": kind.code(), "preview": preview, "written": written }),
        )
    };
    if preview.wrong > 0 && options.wrong_rows == WrongRows::StopAll {
        let last = "Nothing was written. Correct those rows, or give --leave-out-wrong to import the rest.";
        return Ok(answer(format!("{text}\n{last}"), 0).exiting(Exit::Refused));
    }
    if preview.new + preview.changed == 0 {
        return Ok(answer(format!("{text}\nNothing to write."), 0));
    }
    if desk.keep == Keep::Rehearsed {
        return Ok(answer(format!("{text}\nNothing was written (--dry-run)."), 0));
    }
    match (desk.ask.consent, desk.ask.asking) {
        (Consent::ToAsk, Asking::Never) => {
            let last = "Nothing was written yet. To write it, give the command again with --yes.";
            return Ok(answer(format!("{text}\n{last}"), 0).exiting(Exit::Decision));
        }
        (Consent::ToAsk, Asking::Allowed) => {
            desk.ask.consent(&format!("{text}\nWrite this into the stock book?"))?;
        }
        (Consent::Given, _) => {}
    }
    let written = write(desk)?;
    Ok(answer(format!("{text}\nWritten: {}.", printer::entries(written)), written))
}

fn write(
    desk: &Desk,
    kind: FileKind,
    columns: &Columns,
    scratch: Scratch,
    known_entries: u64,
) -> Result<u64, Fault> {
    let mut file = desk.file()?;
    desk.copy_before(&mut file, Before::Import)?;
    file.write(desk.keep, |connection| {
        if entries::count(connection)? != known_entries
            || farm::get(connection)?.id != scratch.farm()
        {
            return Err(Fault::failed(
                "The book changed while the preview was read.",
                "Give the command again.",
            )
            .keeping("Nothing was written."));
        }
        for (key, row) in scratch.memory.now() {
            imports::remember(connection, kind.code(), key, row)?;
        }
        for (heading, field) in columns.confirmed() {
            imports::remember_column(connection, kind.code(), heading, field)?;
        }
        let written = entries::append(connection, scratch.into_drafts(), fresh::wall_millis())?;
        Ok(written.len() as u64)
    })
}
