//! A row's cells as counts, strengths, days and words.

use std::fmt::Display;
use std::str::FromStr;

use spareloop_domain::words::{Count, Day};

use super::Options;
use super::dates;
use super::layout::Layout;
use super::table::Record;

/// A row as the kinds of file read it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Row<'a> {
    /// The cells.
    pub(super) record: &'a Record,
    /// Which column holds which field, and how days are written.
    pub(super) layout: &'a Layout,
    /// How the file is read.
    pub(super) options: &'a Options,
}

impl<'a> Row<'a> {
    /// What stands in a field, if anything.
    pub(super) fn text(&self, field: &str) -> Option<&'a str> {
        self.layout
            .columns
            .index(field)
            .and_then(|index| self.record.cells.get(index))
            .filter(|cell| !cell.is_empty())
    }

    /// What stands in a field that can't be empty.
    pub(super) fn needed(&self, field: &str) -> Result<&'a str, String> {
        self.text(field).ok_or_else(|| format!("the {field} is missing"))
    }

    /// A word of ours.
    pub(super) fn word<T>(&self, field: &str) -> Result<Option<T>, String>
    where
        T: FromStr,
        T::Err: Display,
    {
        self.text(field)
            .map(|text| text.parse().map_err(|error: T::Err| format!("{field}: {error}")))
            .transpose()
    }

    /// A count.
    pub(super) fn count(&self, field: &str) -> Result<Option<Count>, String> {
        self.text(field)
            .map(|text| count(text).map_err(|error| format!("{field}: {error}")))
            .transpose()
    }

    /// A count, 0 where the cell is empty.
    pub(super) fn count_or_none(&self, field: &str) -> Result<Count, String> {
        Ok(self.count(field)?.unwrap_or(Count::ZERO))
    }

    /// A number with a decimal point or comma.
    pub(super) fn number(&self, field: &str) -> Result<Option<f64>, String> {
        self.text(field)
            .map(|text| {
                let number = text.trim_end_matches('%').trim().replace(',', ".").parse::<f64>();
                number
                    .ok()
                    .filter(|number| number.is_finite() && *number >= 0.0)
                    .ok_or_else(|| format!("{field}: {text:?} is not a number"))
            })
            .transpose()
    }

    /// The day of a row without one: as given, else that of its first look, else today.
    pub(super) fn began(&self) -> Day {
        let first = || self.layout.looks.first_filled(self);
        self.options.on.or_else(first).unwrap_or(self.options.today)
    }

    /// A day.
    pub(super) fn day(&self, field: &str) -> Result<Option<Day>, String> {
        self.text(field)
            .map(|text| {
                dates::read(text, self.layout.habit).map_err(|error| format!("{field}: {error}"))
            })
            .transpose()
    }
}

/// The count of a cell: a whole number. `40,0` and `40.00` are 40; `1.000` could be one or a thousand and is refused.
pub(super) fn count(text: &str) -> Result<Count, String> {
    let whole = match text.split_once(['.', ',']) {
        None => text,
        Some((whole, zeros))
            if matches!(zeros.len(), 1 | 2) && zeros.bytes().all(|byte| byte == b'0') =>
        {
            whole
        }
        Some((_, three)) if three.len() == 3 => {
            return Err(format!("{text:?} could be read two ways; write it without a separator"));
        }
        Some(_) => return Err(format!("{text:?} is not a whole number")),
    };
    whole.parse().map_err(|error: spareloop_domain::words::CountError| error.to_string())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::count;

    #[test]
    fn a_decimal_comma_of_a_spreadsheet_is_no_part_of_a_count() {
        assert_eq!(count("40").unwrap().get(), 40);
        assert_eq!(count("40,0").unwrap().get(), 40);
        assert_eq!(count("40.00").unwrap().get(), 40);
    }

    #[test]
    fn half_tubers_negatives_and_slips_of_the_finger_are_refused() {
        for text in ["1,5", "-3", "4000000000", "99999999999999999999", "1.000", "many", "1e3"] {
            assert!(count(text).is_err(), "{text}");
        }
    }
}
