//! How a file is laid out: which columns hold what, and how its days are written.
//!
//! What may not enter: what rows mean.

use std::collections::BTreeMap;
use std::path::Path;

use spareloop_domain::words::Day;

use super::columns::{Columns, Field, Guess, needs};
use super::dates::{self, Habit};
use super::headings::Sheet;
use super::reading::{self, Wanted};
use super::table::Serials;
use super::wide::{self, Looks};
use super::{FileKind, Options};
use crate::fault::Fault;

/// Whether looks stand below each other or beside each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Form {
    /// A row a thing.
    Long,
    /// A row a lot, a column a look.
    Wide,
}

/// A file that is understood as far as its headings.
#[derive(Debug)]
pub(super) struct Layout {
    /// The rows.
    pub(super) sheet: Sheet,
    /// Which column holds which field.
    pub(super) columns: Columns,
    /// Long or wide.
    pub(super) form: Form,
    /// How days are written.
    pub(super) habit: Habit,
    /// Columns of looks; none in the long form, but in a stock sheet that goes on as a wide one.
    pub(super) looks: Looks,
}

impl Layout {
    /// Reads a file and finds what its columns hold.
    pub(super) fn read(
        (kind, file): (FileKind, &Path),
        options: &Options,
        known: &BTreeMap<String, String>,
        today: Day,
    ) -> Result<Self, Fault> {
        let guess = |fields: &'static [Field]| Guess::new(fields, &options.map, known);
        let (long, wide) = (guess(kind.fields()), guess(wide::FIELDS));
        // Whether the numbers above a column are days can't be known before the sheet is; where
        // they are, their program says so.
        let any = Habit { order: None, serials: Serials::From1900 };
        let is_wide =
            |headings: &[String]| kind == FileKind::Checks && wide::fits(&wide, headings, any);
        let fits = |headings: &[String]| long.fits(headings) || is_wide(headings);
        let needed = needs(kind.fields());
        let wanted = Wanted { sheet: options.sheet.as_deref(), fits: &fits, needed };
        let sheet = reading::sheet(file, &wanted)?;
        let form = if !long.fits(&sheet.headings) && is_wide(&sheet.headings) {
            Form::Wide
        } else {
            Form::Long
        };
        let fields = match form {
            Form::Wide => wide::FIELDS,
            Form::Long => kind.fields(),
        };
        let columns = Columns::map(fields, &sheet.headings, &options.map, known)?;
        let habit = Habit { order: None, serials: sheet.serials };
        // The day of a lot in a sheet that goes on with looks is that of the first look.
        let begins = kind == FileKind::Stock
            && options.on.is_none()
            && columns.index("stored on").is_none()
            && wide::fits(&wide, &sheet.headings, habit);
        let reads_looks = form == Form::Wide || begins;
        let habit = habit_of(&sheet, &columns, reads_looks.then_some(habit), options)?;
        let looks = if reads_looks {
            Looks::of(&sheet, &columns, habit, options.season, today)?
        } else {
            Looks::default()
        };
        Ok(Self { sheet, columns, form, habit, looks })
    }

    /// Headings of columns that are not read.
    pub(super) fn not_read(&self) -> Vec<String> {
        let headings = &self.sheet.headings;
        self.columns
            .not_read(headings)
            .into_iter()
            .filter(|index| !self.looks.has(*index))
            .map(|index| headings[index].clone())
            .collect()
    }

    /// Whether a column is read.
    pub(super) fn reads(&self, column: usize) -> bool {
        self.columns.is_taken(column) || (self.form == Form::Wide && self.looks.has(column))
    }

    /// How the file was read, in words, where that isn't plain.
    pub(super) fn notes(&self) -> Vec<String> {
        let sheet = &self.sheet;
        let mut notes = Vec::new();
        notes.extend(sheet.name.as_ref().map(|name| format!("Read from the sheet '{name}'.")));
        if self.form == Form::Wide {
            notes.extend(self.looks.spoken());
        }
        let formulas: usize = sheet
            .records
            .iter()
            .map(|record| record.formulas.iter().filter(|column| self.reads(**column)).count())
            .sum();
        match formulas {
            0 => {}
            1 => notes.push("1 cell is a formula; its last value was taken.".to_owned()),
            many => notes.push(format!("{many} cells are formulas; their last values were taken.")),
        }
        notes.extend(
            sheet.totals.iter().map(|row| format!("Row {row} is a row of totals: not read.")),
        );
        notes
    }
}

/// The habit by all days of the file, and by its headings where those are days.
fn habit_of(
    sheet: &Sheet,
    columns: &Columns,
    headings: Option<Habit>,
    options: &Options,
) -> Result<Habit, Fault> {
    let indices: Vec<usize> =
        dates::DATE_FIELDS.iter().filter_map(|field| columns.index(field)).collect();
    let cells = sheet
        .records
        .iter()
        .flat_map(|record| indices.iter().filter_map(|index| record.cells.get(*index)))
        .filter_map(|cell| dates::parts(cell).map(|parts| (cell, parts)))
        .filter(|(_, parts)| parts.numbers.len() == 3);
    let above = sheet
        .headings
        .iter()
        .filter(|heading| headings.is_some_and(|habit| wide::days::is_day(heading, habit)))
        .filter_map(|heading| wide::days::numbers(heading));
    let order = dates::order(cells.chain(above), options.date_order)?;
    Ok(Habit { order, serials: sheet.serials })
}
