//! Spreadsheets in: read, map columns, plan, preview, and only then write, all at once.
//!
//! ```text
//! reading    bytes -> the sheet that is meant (limits, endings)
//! text       a text file -> rows of text (encoding, delimiter, quotes)
//! workbook   a workbook -> rows of text (what a stranger's file may do to a reader)
//! table      rows of text with their places
//! headings   which row says what the columns hold
//! columns    headings -> fields
//! layout     all of that put together; long or wide
//! dates      days as people write them
//! cells      counts, strengths and names out of a cell
//! lasting    ids that are the same on every device
//! memory     what rows said before
//! again      rows about a lot that is in the book already
//! held       what lots held on a day
//! scratch    the book as it will be, row by row, so that the rules at the door judge each row
//! preview    what would be written
//! stock, checks, wide, lifted, bench, plan   one kind of file each
//! logger     readings of a logger, which make no rows of the kinds above
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
mod headings;
mod held;
pub(crate) mod lasting;
mod layout;
pub mod ledger;
mod lifted;
pub mod logger;
mod memory;
mod plan;
mod preview;
mod reading;
mod scratch;
mod stock;
mod table;
mod text;
mod wide;
mod workbook;

use std::path::Path;

use diesel::sqlite::SqliteConnection;
use serde_json::json;
use spareloop_domain::words::{Day, FarmId, LossCause, Packing, UnitKind};

use crate::ask::{Asking, Consent};
use crate::book::copies::Before;
use crate::book::{BookError, Keep, entries, farm, imports, undone};
use crate::desk::Desk;
use crate::fault::{Exit, Fault};
use crate::fresh;
use crate::printer::{self, Answer};

pub use dates::DateOrder;
pub use wide::days::Season;

use columns::Columns;
use layout::{Form, Layout};
use memory::Memory;
use preview::{Fate, Preview};
use scratch::{Scratch, Stop};
use table::Odd;
use wide::Causes;

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

    const fn fields(self) -> &'static [columns::Field] {
        match self {
            Self::Stock => stock::FIELDS,
            Self::Checks => checks::FIELDS,
            Self::Lifted => lifted::FIELDS,
            Self::Bench => bench::FIELDS,
            Self::Plan => plan::FIELDS,
        }
    }

    fn plan(self, row: &cells::Row<'_>, scratch: &mut Scratch) -> Result<Fate, Stop> {
        match self {
            Self::Stock => stock::plan(row, scratch),
            Self::Checks => checks::plan(row, scratch),
            Self::Lifted => lifted::plan(row, scratch),
            Self::Bench => bench::plan(row, scratch),
            Self::Plan => plan::plan(row, scratch),
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
    /// The day of rows without one, if it was given; else today.
    pub on: Option<Day>,
    /// Today.
    pub today: Day,
    /// The sheet of a workbook.
    pub sheet: Option<String>,
    /// The season of days without a year.
    pub season: Option<Season>,
    /// What counts that go down were lost to, where the file doesn't say.
    pub lost_to: Option<LossCause>,
    /// The unit of rows without one.
    pub unit: UnitKind,
    /// The packing of rows without one.
    pub packing: Option<Packing>,
    /// What becomes of the rest when rows are wrong.
    pub wrong_rows: WrongRows,
    /// Whether names much like a known one may be new.
    pub near_names: NearNames,
}

impl Options {
    /// The day of rows without one.
    fn day(&self) -> Day {
        self.on.unwrap_or(self.today)
    }
}

/// Imports a file: previews it, and writes it once that is agreed to.
pub fn run(desk: &Desk, kind: FileKind, file: &Path, options: &Options) -> Result<Answer, Fault> {
    let mut opened = desk.open()?;
    let (remembered, known_columns) = opened.file.read(|connection| {
        Ok::<_, BookError>((
            imports::rows(connection, kind.code())?,
            imports::columns(connection, kind.code())?,
        ))
    })?;
    let layout = Layout::read((kind, file), options, &known_columns, options.today)?;
    let known_entries = opened.entries.len() as u64;
    let mut scratch = Scratch::new(
        (opened.farm, opened.book, opened.entries),
        Memory::of(remembered),
        desk.settings.today.value,
        options.near_names,
    );
    let mut preview = Preview::of(layout.not_read(), layout.notes());
    let causes = Causes::new(options.lost_to, desk.ask);
    for record in &layout.sheet.records {
        let row = cells::Row { record, layout: &layout, options };
        match layout.form {
            Form::Long => {
                let fate = scratch.attempt(|scratch| {
                    sound(&row)?;
                    kind.plan(&row, scratch)
                })?;
                preview.count(record.row, fate.unwrap_or_else(Fate::Wrong));
            }
            Form::Wide => looks(&row, &causes, &mut scratch, &mut preview)?,
        }
    }
    preview.named = scratch.named();
    decide(desk, kind.code(), file, options.wrong_rows, preview, |desk| {
        write(desk, kind, &layout.columns, scratch, known_entries, &said_of(file))
    })
}

/// Refuses a row in whose columns a cell holds no value.
fn sound(row: &cells::Row<'_>) -> Result<(), Stop> {
    let layout = row.layout;
    let found = row.record.odd.iter().find(|(column, _)| layout.columns.is_taken(*column));
    found.map_or(Ok(()), |(column, odd)| Err(no_value(layout, *column, odd)))
}

fn no_value(layout: &Layout, column: usize, odd: &Odd) -> Stop {
    let heading = layout.sheet.headings.get(column).map_or("", String::as_str);
    Stop::Wrong(format!("{heading}: the cell {odd}"))
}

/// Plans the looks of a row of a wide sheet, each by itself.
fn looks(
    row: &cells::Row<'_>,
    causes: &Causes,
    scratch: &mut Scratch,
    preview: &mut Preview,
) -> Result<(), Fault> {
    let layout = row.layout;
    let begun = scratch.attempt(|scratch| {
        sound(row)?;
        wide::Line::of(row, scratch)
    })?;
    let mut line = match begun {
        Ok(line) => line,
        Err(why) => {
            preview.count(row.record.row, Fate::Wrong(why));
            return Ok(());
        }
    };
    for (column, on) in layout.looks.columns() {
        let cell = row.record.cells.get(*column).unwrap_or_default();
        let odd = row.record.odd.iter().find(|(other, odd)| {
            // What a grower writes down after a look may well go over lines.
            other == column && *odd != Odd::SeveralRows
        });
        let fate = scratch.attempt(|scratch| match odd {
            Some((_, odd)) => Err(no_value(layout, *column, odd)),
            None => line.plan((cell, *on), causes, scratch),
        })?;
        match fate {
            Ok(None) => {}
            Ok(Some(fate)) => preview.count(row.record.row, fate),
            Err(why) => {
                let heading = &layout.sheet.headings[*column];
                let why = if odd.is_some() { why } else { format!("{heading}: {why}") };
                preview.count(row.record.row, Fate::Wrong(why));
            }
        }
    }
    Ok(())
}

fn decide(
    desk: &Desk,
    kind: &str,
    file: &Path,
    wrong_rows: WrongRows,
    preview: Preview,
    write: impl FnOnce(&Desk) -> Result<u64, Fault>,
) -> Result<Answer, Fault> {
    let text = preview.text(file);
    let answer = |text: String, written: u64| {
        Answer::new(
            "import",
            text,
            json!({ "file": file, "file_kind": kind, "preview": preview, "written": written }),
        )
    };
    if preview.wrong > 0 && wrong_rows == WrongRows::StopAll {
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

/// How an import is named when it is undone.
fn said_of(file: &Path) -> String {
    let name = file.file_name().unwrap_or(file.as_os_str());
    format!("the import of {}", name.to_string_lossy())
}

fn write(
    desk: &Desk,
    kind: FileKind,
    columns: &Columns,
    scratch: Scratch,
    known_entries: u64,
    said: &str,
) -> Result<u64, Fault> {
    let mut file = desk.file()?;
    desk.copy_before(&mut file, Before::Import)?;
    file.write(desk.keep, |connection| {
        unchanged(connection, known_entries, scratch.farm())?;
        for (key, row) in scratch.memory.now() {
            imports::remember(connection, kind.code(), key, row)?;
        }
        for (heading, field) in columns.confirmed() {
            imports::remember_column(connection, kind.code(), heading, field)?;
        }
        let written = entries::append(connection, scratch.into_drafts(), fresh::wall_millis())?;
        undone::together(connection, &written, said)?;
        Ok(written.len() as u64)
    })
}

/// Refuses to write over what came into the book since the preview was read.
fn unchanged(
    connection: &mut SqliteConnection,
    known_entries: u64,
    farm: FarmId,
) -> Result<(), Fault> {
    if entries::count(connection)? == known_entries && farm::get(connection)?.id == farm {
        return Ok(());
    }
    Err(Fault::failed("The book changed while the preview was read.", "Give the command again.")
        .keeping("Nothing was written."))
}
