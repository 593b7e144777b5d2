//! Tables as a workbook: a sheet each, numbers as numbers, days as days, text never as a formula.
//!
//! What may not enter: which cells there are.

use std::io::Write;

use rust_xlsxwriter::{ExcelDateTime, Format, Workbook, Worksheet, XlsxError};

use super::place::WriteError;
use super::table::{Cell, Table};
use crate::fault::Fault;

/// Most rows below the headings of a sheet (ECMA-376 part 1: 1,048,576 rows).
const MOST_ROWS: usize = 1_048_575;
/// Most characters of a cell, and what stands at the end of one that had more.
const MOST_LETTERS: usize = 32_767;
const CUT: &str = " ... (cut: see the CSV or JSON)";
/// Widths of columns, in characters.
const NARROWEST: usize = 8;
const WIDEST: usize = 60;

/// Writes tables, a sheet each.
pub fn write(tables: &[Table], out: &mut dyn Write) -> Result<(), WriteError> {
    let mut book = Workbook::new();
    for table in tables {
        if table.rows.len() > MOST_ROWS {
            return Err(WriteError::Fault(Fault::refused(
                format!("The {} has more rows than a sheet can hold.", table.name),
                "Write it as CSV: --format csv",
            )));
        }
        // A row goes to a temporary file as soon as it is written, so that memory stays bounded.
        let sheet = book.add_worksheet_with_constant_memory().map_err(odd)?;
        write_sheet(table, sheet).map_err(odd)?;
    }
    let bytes = book.save_to_buffer().map_err(odd)?;
    Ok(out.write_all(&bytes)?)
}

fn odd(error: XlsxError) -> WriteError {
    match error {
        XlsxError::IoError(error) => WriteError::Io(error),
        other => WriteError::Fault(Fault::failed(
            format!("The workbook can't be made: {other}."),
            "Write it as CSV: --format csv",
        )),
    }
}

struct Styles {
    heading: Format,
    day: Format,
    moment: Format,
}

fn write_sheet(table: &Table, sheet: &mut Worksheet) -> Result<(), XlsxError> {
    let styles = Styles {
        heading: Format::new().set_bold(),
        day: Format::new().set_num_format("yyyy-mm-dd"),
        moment: Format::new().set_num_format("yyyy-mm-dd hh:mm:ss"),
    };
    sheet.set_name(table.name)?;
    sheet.set_freeze_panes(1, 0)?;
    for (column, heading) in (0_u16..).zip(&table.headings) {
        let width = u32::try_from(width(table, usize::from(column))).unwrap_or(u32::MAX);
        sheet.set_column_width(column, width)?;
        sheet.write_string_with_format(0, column, *heading, &styles.heading)?;
    }
    for (row, cells) in (1_u32..).zip(&table.rows) {
        for (column, cell) in (0_u16..).zip(cells) {
            write_cell(sheet, row, column, cell, &styles)?;
        }
    }
    Ok(())
}

fn write_cell(
    sheet: &mut Worksheet,
    row: u32,
    column: u16,
    cell: &Cell,
    styles: &Styles,
) -> Result<(), XlsxError> {
    match cell {
        Cell::Empty => {}
        Cell::Text(text) => {
            sheet.write_string(row, column, fitting(text))?;
        }
        // Every whole number of the book is below 2^53.
        #[allow(clippy::cast_precision_loss)]
        Cell::Whole(number) => {
            sheet.write_number(row, column, *number as f64)?;
        }
        Cell::Number(number) => {
            sheet.write_number(row, column, *number)?;
        }
        Cell::Day(day) => {
            let day = ExcelDateTime::parse_from_str(&day.to_string())?;
            sheet.write_datetime_with_format(row, column, &day, &styles.day)?;
        }
        Cell::Moment(millis) => {
            let moment = i64::try_from(millis / 1_000).unwrap_or(i64::MAX);
            match ExcelDateTime::from_timestamp(moment) {
                Ok(moment) => {
                    sheet.write_datetime_with_format(row, column, &moment, &styles.moment)?;
                }
                // A clock set beyond the year 9999.
                Err(_) => {
                    sheet.write_string(row, column, millis.to_string())?;
                }
            }
        }
    }
    Ok(())
}

/// The text as far as a cell holds it.
fn fitting(text: &str) -> String {
    // Cells are counted in UTF-16 units.
    if text.encode_utf16().count() <= MOST_LETTERS {
        return text.to_owned();
    }
    let mut units = CUT.len();
    let kept = text.chars().take_while(|letter| {
        units += letter.len_utf16();
        units <= MOST_LETTERS
    });
    kept.chain(CUT.chars()).collect()
}

fn width(table: &Table, column: usize) -> usize {
    let longest = table
        .rows
        .iter()
        .filter_map(|row| row.get(column))
        .map(|cell| match cell {
            Cell::Empty => 0,
            Cell::Text(text) => text.chars().count(),
            Cell::Whole(number) => number.to_string().len(),
            Cell::Number(number) => number.to_string().len(),
            Cell::Day(_) => "2026-11-25".len(),
            Cell::Moment(_) => "2026-11-25 03:24:50".len(),
        })
        .chain(table.headings.get(column).map(|heading| heading.len()))
        .max();
    (longest.unwrap_or(0) + 1).clamp(NARROWEST, WIDEST)
}
