//! A table as CSV (RFC 4180), for spreadsheet programs and for our own import.
//!
//! What may not enter: which cells there are.

use std::io::Write;

use csv::{Terminator, WriterBuilder};

use super::neutral::neutralise;
use super::place::WriteError;
use super::table::{Cell, Table, spoken_moment};

/// What stands between fields, and with it how a fraction is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Separator {
    /// `,`, and `0.9`.
    Comma,
    /// `;`, and `0,9`, as programs set to many European languages have it.
    Semicolon,
}

/// Whether the file begins with a byte-order mark, by which some programs know UTF-8.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mark {
    /// It doesn't.
    None,
    /// It does.
    ByteOrder,
}

/// Writes a table. Text that would run as a formula is made harmless.
pub fn write(
    table: &Table,
    separator: Separator,
    mark: Mark,
    out: &mut dyn Write,
) -> Result<(), WriteError> {
    if mark == Mark::ByteOrder {
        out.write_all("\u{feff}".as_bytes())?;
    }
    let delimiter = match separator {
        Separator::Comma => b',',
        Separator::Semicolon => b';',
    };
    let mut writer =
        WriterBuilder::new().delimiter(delimiter).terminator(Terminator::CRLF).from_writer(out);
    writer.write_record(&table.headings).map_err(io_error)?;
    for row in &table.rows {
        writer.write_record(row.iter().map(|cell| spell(cell, separator))).map_err(io_error)?;
    }
    Ok(writer.flush()?)
}

fn io_error(error: csv::Error) -> WriteError {
    WriteError::Io(error.into())
}

fn spell(cell: &Cell, separator: Separator) -> String {
    match cell {
        Cell::Empty => String::new(),
        Cell::Text(text) => neutralise(text).into_owned(),
        Cell::Whole(number) => number.to_string(),
        Cell::Number(number) => match separator {
            Separator::Comma => number.to_string(),
            Separator::Semicolon => number.to_string().replace('.', ","),
        },
        Cell::Day(day) => day.to_string(),
        Cell::Moment(millis) => spoken_moment(*millis),
    }
}
