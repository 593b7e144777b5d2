//! Workbooks in: XLSX, sheet by sheet, as rows of text.
//!
//! ```text
//! gate    what is refused before a library reads it
//! cells   what stands in a cell, as text
//! ```
//!
//! What may not enter: what columns mean.

mod cells;
mod gate;
#[cfg(test)]
mod tests;

use std::collections::HashSet;
use std::io::Cursor;

use calamine::{DataRef, Reader, SheetVisible, Xlsx, XlsxError};
use csv::StringRecord;
use memchr::memmem;

use self::gate::Refused;
use super::table::{MOST_COLUMNS, MOST_ROWS};
use super::table::{Merged, Odd, Record, Serials, Table, too_many_rows, too_wide};
use crate::fault::Fault;

/// What a zip archive begins with.
const ARCHIVE: &[u8] = b"PK\x03\x04";
/// What an OLE container begins with: an old workbook, or a new one that is locked.
const CONTAINER: &[u8] = &[0xD0, 0xCF, 0x11, 0xE0, 0xA1, 0xB1, 0x1A, 0xE1];
/// Bytes of a packed workbook at most.
const MOST_BYTES: usize = 32 * 1024 * 1024;

/// Whether bytes are a workbook of whatever kind.
pub(super) fn is_workbook(bytes: &[u8]) -> bool {
    bytes.starts_with(ARCHIVE) || bytes.starts_with(&CONTAINER[..4])
}

/// A workbook whose sheets can be read.
pub(super) struct Workbook<'a> {
    inner: Xlsx<Cursor<&'a [u8]>>,
    serials: Serials,
    has_formulas: bool,
}

impl<'a> Workbook<'a> {
    /// Opens a workbook, if it passes the gate.
    pub(super) fn open(bytes: &'a [u8]) -> Result<Self, Fault> {
        if bytes.starts_with(CONTAINER) || !bytes.starts_with(ARCHIVE) {
            return Err(contained(bytes));
        }
        if bytes.len() > MOST_BYTES {
            return Err(Fault::refused(
                "The workbook has more than 32 MB, the most that one import takes.",
                "Nothing was written. Save the one sheet as a workbook of its own, or as CSV.",
            ));
        }
        let passed = gate::pass(bytes).map_err(|why| refused(&why, bytes))?;
        let inner = Xlsx::new(Cursor::new(bytes)).map_err(unreadable)?;
        let serials = if inner.has_1904_epoch() { Serials::From1904 } else { Serials::From1900 };
        Ok(Self { inner, serials, has_formulas: passed.formulas > 0 })
    }

    /// Names of the sheets that are shown, in their order.
    pub(super) fn shown(&self) -> Vec<String> {
        let sheets = self.inner.sheets_metadata().iter();
        sheets
            .filter(|sheet| sheet.visible == SheetVisible::Visible)
            .map(|sheet| sheet.name.clone())
            .collect()
    }

    /// Names of all sheets.
    pub(super) fn all(&self) -> Vec<String> {
        self.inner.sheet_names()
    }

    /// A sheet as rows of text.
    pub(super) fn table(&mut self, name: &str) -> Result<Table, Fault> {
        let formulas = if self.has_formulas { self.formulas(name)? } else { HashSet::new() };
        let merged = self.inner.merge_cells_by_sheet_name(name).map_err(unreadable)?;
        let merged = merged
            .into_iter()
            .map(|range| Merged {
                first: u64::from(range.start.0) + 1,
                last: u64::from(range.end.0) + 1,
            })
            .filter(|range| range.last > range.first)
            .collect();
        let mut rows = Rows { serials: self.serials, ..Rows::default() };
        let mut reader = self.inner.worksheet_cells_reader(name).map_err(unreadable)?;
        let percent: Vec<bool> = reader
            .styles()
            .iter()
            .map(|style| style.number_format.as_ref().is_some_and(cells::is_percent))
            .collect();
        while let Some((cell, style)) = reader.next_cell_with_style_id().map_err(unreadable)? {
            let place = cell.get_position();
            let percent = percent.get(style).copied().unwrap_or_default();
            let style = if percent { cells::Style::Percent } else { cells::Style::Plain };
            rows.cell(place, cell.get_value(), style, formulas.contains(&place))?;
        }
        rows.end_row()?;
        Ok(Table { name: Some(name.to_owned()), rows: rows.done, merged, serials: self.serials })
    }

    fn formulas(&mut self, name: &str) -> Result<HashSet<(u32, u32)>, Fault> {
        let mut places = HashSet::new();
        let mut reader = self.inner.worksheet_cells_reader(name).map_err(unreadable)?;
        while let Some(cell) = reader.next_cell_with_formula_metadata().map_err(unreadable)? {
            if cell.formula.is_some() {
                places.insert(cell.pos);
            }
        }
        Ok(places)
    }
}

/// Cells, put together to rows as they come.
#[derive(Default)]
struct Rows {
    done: Vec<Record>,
    serials: Serials,
    row: u32,
    texts: Vec<String>,
    formulas: Vec<usize>,
    odd: Vec<(usize, Odd)>,
}

impl Rows {
    fn cell(
        &mut self,
        (row, column): (u32, u32),
        value: &DataRef<'_>,
        style: cells::Style,
        is_formula: bool,
    ) -> Result<(), Fault> {
        if row < self.row {
            return Err(refused(&Refused::Damaged, &[]));
        }
        if row > self.row {
            self.end_row()?;
            self.row = row;
        }
        let text = match cells::text(value, style, self.serials) {
            Ok(text) if text.is_empty() && is_formula => Err(Odd::FormulaWithoutValue),
            other => other,
        };
        let column = column as usize;
        if !matches!(&text, Ok(text) if text.is_empty()) {
            if column >= MOST_COLUMNS {
                return Err(too_wide());
            }
            if self.texts.len() <= column {
                self.texts.resize(column + 1, String::new());
            }
        }
        match text {
            Ok(text) if text.is_empty() => {}
            Ok(text) => self.texts[column] = text,
            Err(odd) => self.odd.push((column, odd)),
        }
        if is_formula {
            self.formulas.push(column);
        }
        Ok(())
    }

    fn end_row(&mut self) -> Result<(), Fault> {
        let texts = std::mem::take(&mut self.texts);
        let formulas = std::mem::take(&mut self.formulas);
        let odd = std::mem::take(&mut self.odd);
        if texts.iter().all(String::is_empty) && odd.is_empty() {
            return Ok(());
        }
        if self.done.len() > MOST_ROWS {
            return Err(too_many_rows());
        }
        let row = u64::from(self.row) + 1;
        self.done.push(Record { row, cells: StringRecord::from(texts), formulas, odd });
        Ok(())
    }
}

/// An OLE container: locked, or of the old kind.
fn contained(bytes: &[u8]) -> Fault {
    let wide = |text: &str| text.encode_utf16().flat_map(u16::to_le_bytes).collect::<Vec<u8>>();
    if memmem::find(bytes, &wide("EncryptedPackage")).is_some() {
        return refused(&Refused::Locked, bytes);
    }
    Fault::refused(
        "That is a workbook of the old kind (.xls), which is not read here.",
        "Open it in the spreadsheet program, save it as .xlsx or as CSV, and import that.",
    )
}

fn refused(why: &Refused, bytes: &[u8]) -> Fault {
    let hint = match why {
        Refused::Damaged => {
            "Copy the file again; or open it in the spreadsheet program, save it and try again."
        }
        Refused::Locked => {
            "Open it in the spreadsheet program, take the password off, save it and try again."
        }
        Refused::NoWorkbook if memmem::find(bytes, b"opendocument.spreadsheet").is_some() => {
            "It is an OpenDocument sheet (.ods): save it as .xlsx or as CSV, and import that."
        }
        Refused::NoWorkbook => "Save it as .xlsx or as CSV from the spreadsheet program.",
        _ => "Save the one sheet as CSV from the spreadsheet program, and import that.",
    };
    Fault::refused(format!("The workbook can't be read: {why}."), hint)
        .keeping("Nothing was written.")
}

fn unreadable(error: XlsxError) -> Fault {
    match error {
        XlsxError::Password => refused(&Refused::Locked, &[]),
        _ => refused(&Refused::Damaged, &[]),
    }
}
