//! A file as rows of text with their places, whatever it was: what reading hands to the headings.
//!
//! What may not enter: what columns mean; how a kind of file is read.

use std::fmt;

use chrono::{Days, NaiveDate};
use csv::StringRecord;
use spareloop_domain::words::Day;

use crate::fault::Fault;

/// Most rows of one file: far above any small farm, and soon read.
pub(super) const MOST_ROWS: usize = 200_000;
/// Most columns of one file: a season of daily looks fits twice.
pub(super) const MOST_COLUMNS: usize = 1_000;

/// A row with its place in the file.
#[derive(Debug, Clone, Default)]
pub(super) struct Record {
    /// The row in the sheet, or the line in the file; the first is 1.
    pub(super) row: u64,
    /// The cells.
    pub(super) cells: StringRecord,
    /// Columns whose cells are formulas; what stands in them is their last value.
    pub(super) formulas: Vec<usize>,
    /// Cells that hold no value.
    pub(super) odd: Vec<(usize, Odd)>,
}

/// Why a cell holds no value although something stands in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Odd {
    /// An error of the spreadsheet program.
    Error(String),
    /// A formula that was never computed.
    FormulaWithoutValue,
    /// Rows that a stray quotation mark made one cell.
    SeveralRows,
}

impl fmt::Display for Odd {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Error(error) => write!(f, "holds the error {error}; mend it in the sheet"),
            Self::SeveralRows => f.write_str(
                "holds several rows; a quotation mark is missing or too many in the file",
            ),
            Self::FormulaWithoutValue => f.write_str(
                "is a formula without a value; open the file in the spreadsheet program and save it",
            ),
        }
    }
}

/// Rows of one heading, joined over several rows of the sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Merged {
    /// The first row.
    pub(super) first: u64,
    /// The last row.
    pub(super) last: u64,
}

/// What days are counted from where a cell holds a day as a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) enum Serials {
    /// Days are no numbers here.
    #[default]
    None,
    /// From the last day of 1899, with a 29 February 1900 that never was (ECMA-376 part 1,
    /// 18.17.4.1).
    From1900,
    /// From 1 January 1904, which is 0 (the same place).
    From1904,
}

impl Serials {
    /// The day of a number, if it is one that we keep books for.
    pub(super) fn day(self, serial: f64) -> Option<Day> {
        let whole = serial.floor();
        if !(1.0..=110_000.0).contains(&whole) {
            return None;
        }
        // Within the range just asked for, so that nothing is cut off.
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        let days = whole as u64;
        let (zero, days) = match self {
            Self::None => return None,
            Self::From1904 => (NaiveDate::from_ymd_opt(1904, 1, 1)?, days),
            Self::From1900 if days < 60 => (NaiveDate::from_ymd_opt(1899, 12, 31)?, days),
            Self::From1900 if days == 60 => return None,
            Self::From1900 => (NaiveDate::from_ymd_opt(1899, 12, 30)?, days),
        };
        Day::new(zero.checked_add_days(Days::new(days))?).ok()
    }
}

/// A file, or one sheet of a workbook.
#[derive(Debug, Clone)]
pub(super) struct Table {
    /// The sheet's name, if it has one.
    pub(super) name: Option<String>,
    /// Rows in which something stands.
    pub(super) rows: Vec<Record>,
    /// Cells joined over several rows.
    pub(super) merged: Vec<Merged>,
    /// What days are counted from.
    pub(super) serials: Serials,
}

/// More rows than one import takes.
pub(super) fn too_many_rows() -> Fault {
    Fault::refused(
        "The file has more than 200,000 rows, the most that one import takes.",
        "Nothing was written. Split the file and import its parts.",
    )
}

/// More columns than one import takes.
pub(super) fn too_wide() -> Fault {
    Fault::refused(
        "The file has more than 1,000 columns, the most that one import takes.",
        "Nothing was written. Leave out the columns that aren't needed and save it again.",
    )
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;

    fn said(serials: Serials, serial: f64) -> String {
        serials.day(serial).map_or_else(|| "none".to_owned(), |day| day.to_string())
    }

    /// ECMA-376 part 1 (5th edition), 18.17.4.1 and 18.17.4.3: in the 1900 system serial 1 is
    /// 1900-01-01; the two systems are 1,462 days apart. 45292 is 2024-01-01 in the first.
    #[test]
    fn serial_numbers_are_days_as_the_standard_has_them() {
        assert_eq!(said(Serials::From1900, 1.0), "1900-01-01");
        assert_eq!(said(Serials::From1900, 59.0), "1900-02-28");
        assert_eq!(said(Serials::From1900, 61.0), "1900-03-01");
        assert_eq!(said(Serials::From1900, 45_292.0), "2024-01-01");
        assert_eq!(said(Serials::From1904, 45_292.0 - 1_462.0), "2024-01-01");
        assert_eq!(said(Serials::From1900, 45_292.75), "2024-01-01");
    }

    #[test]
    fn what_is_no_day_of_ours_is_none() {
        for serial in [-1.0, 0.0, 0.5, 60.0, 1e9, f64::NAN] {
            assert_eq!(said(Serials::From1900, serial), "none", "{serial}");
        }
        assert_eq!(said(Serials::None, 45_292.0), "none");
    }
}
