//! Days as people write them. Where a file doesn't show whether day or month comes first, it is
//! asked about, never guessed.

use chrono::{Datelike, NaiveDate};
use spareloop_domain::words::Day;

use super::table::Serials;
use crate::fault::Fault;

/// Which comes first in 3/11/2026.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DateOrder {
    /// The day.
    DayFirst,
    /// The month.
    MonthFirst,
}

/// How a file writes its days.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Habit {
    /// Which comes first, where it matters.
    pub(super) order: Option<DateOrder>,
    /// What days are counted from where they are numbers.
    pub(super) serials: Serials,
}

/// Fields that hold a day, in any kind of file.
pub(super) const DATE_FIELDS: &[&str] = &["date", "stored on", "planting day"];

/// The numbers of a date, as written: three with the year, two without.
pub(super) struct Parts {
    /// Day, month and year in whatever order.
    pub(super) numbers: Vec<u32>,
    separator: char,
}

/// Takes a text apart that is made of two or three numbers.
pub(super) fn parts(text: &str) -> Option<Parts> {
    let separator = text.chars().find(|letter| matches!(letter, '/' | '.' | '-'))?;
    let numbers: Vec<u32> = text
        .trim_end_matches(separator)
        .split(separator)
        .map(|part| {
            let part = part.trim();
            // A time behind the date, as a spreadsheet may add, says nothing here.
            part.split([' ', 'T']).next().unwrap_or(part).parse::<u32>().ok()
        })
        .collect::<Option<_>>()?;
    matches!(numbers.len(), 2 | 3).then_some(Parts { numbers, separator })
}

impl Parts {
    /// Whether only the file's habit tells day from month.
    pub(super) fn needs_order(&self) -> bool {
        self.numbers[0] < 100 && self.separator != '.'
    }

    /// Month and day of the two first numbers.
    pub(super) fn month_and_day(&self, order: Option<DateOrder>) -> (u32, u32) {
        let (a, b) = (self.numbers[0], self.numbers[1]);
        match order {
            Some(DateOrder::MonthFirst) if self.separator != '.' => (a, b),
            _ => (b, a),
        }
    }
}

/// The order that days show, or that a flag gave. None if no day needs it.
pub(super) fn order<'a>(
    days: impl Iterator<Item = (&'a str, Parts)>,
    given: Option<DateOrder>,
) -> Result<Option<DateOrder>, Fault> {
    if given.is_some() {
        return Ok(given);
    }
    let (mut example, mut day_first, mut month_first) = (None, None, None);
    for (text, parts) in days.filter(|(_, parts)| parts.needs_order()) {
        example.get_or_insert(text);
        if parts.numbers[0] > 12 {
            day_first.get_or_insert(text);
        } else if parts.numbers[1] > 12 {
            month_first.get_or_insert(text);
        }
    }
    let ask = |what: String| {
        Err(Fault::decision(
            what,
            "Say which comes first: --date-order day-first or --date-order month-first.",
        )
        .keeping("Nothing was written."))
    };
    match (example, day_first, month_first) {
        (None, ..) => Ok(None),
        (_, Some(_), None) => Ok(Some(DateOrder::DayFirst)),
        (_, None, Some(_)) => Ok(Some(DateOrder::MonthFirst)),
        (_, Some(one), Some(other)) => {
            ask(format!("The dates disagree: {one} has the day first, {other} the month."))
        }
        (Some(example), None, None) => {
            ask(format!("The file doesn't show whether {example} has the day first or the month."))
        }
    }
}

/// Reads a day.
pub(super) fn read(text: &str, habit: Habit) -> Result<Day, String> {
    let text = text.trim();
    let wrong = || format!("{text:?} is not a day");
    // Of days kept as numbers only those of our time: a 12.11 is no 12 January 1900.
    let of_our_time = |day: &Day| (2000..2100).contains(&day.date().year());
    let serial = text.parse().ok().and_then(|serial| habit.serials.day(serial));
    if let Some(day) = serial.filter(of_our_time) {
        return Ok(day);
    }
    let date = match parts(text) {
        Some(parts) if parts.numbers.len() == 3 => {
            let (a, c) = (parts.numbers[0], parts.numbers[2]);
            let (month, day) =
                if a >= 1000 { (parts.numbers[1], c) } else { parts.month_and_day(habit.order) };
            let year = if a >= 1000 { a } else { c };
            let year = if year < 100 { year + 2000 } else { year };
            i32::try_from(year).ok().and_then(|year| NaiveDate::from_ymd_opt(year, month, day))
        }
        _ => spelled(text),
    };
    Day::new(date.ok_or_else(wrong)?).map_err(|error| error.to_string())
}

/// A date with its month in letters, or without any separator.
fn spelled(text: &str) -> Option<NaiveDate> {
    let formats =
        ["%d %B %Y", "%d. %B %Y", "%d-%b-%Y", "%d-%b-%y", "%B %d, %Y", "%B %d %Y", "%Y%m%d"];
    formats
        .iter()
        .filter_map(|format| NaiveDate::parse_from_str(text, format).ok())
        .find(|date| Day::new(*date).is_ok())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;

    fn said(text: &str, order: Option<DateOrder>) -> Result<String, String> {
        read(text, Habit { order, serials: Serials::None }).map(|day| day.to_string())
    }

    #[test]
    fn days_are_read_as_people_write_them() {
        for text in [
            "2026-11-03",
            "2026/11/3",
            "3.11.2026",
            "3.11.26",
            "3 Nov 2026",
            "3 November 2026",
            "3. November 2026",
            "3-Nov-2026",
            "3-Nov-26",
            "Nov 3, 2026",
            "November 3 2026",
            "20261103",
        ] {
            assert_eq!(said(text, None).unwrap(), "2026-11-03", "{text}");
        }
        assert_eq!(said("11/3/2026", Some(DateOrder::MonthFirst)).unwrap(), "2026-11-03");
        assert_eq!(said("3/11/2026", Some(DateOrder::DayFirst)).unwrap(), "2026-11-03");
        assert_eq!(said("2026-11-03 00:00:00", None).unwrap(), "2026-11-03");
        assert_eq!(said("2026-11-03T00:00:00", None).unwrap(), "2026-11-03");
    }

    #[test]
    fn what_is_no_day_is_refused() {
        for text in ["31.2.2026", "soon", "2026-13-01", "1/2", "3.11.1850", "45292", "12.11."] {
            assert!(said(text, Some(DateOrder::DayFirst)).is_err(), "{text}");
        }
    }

    #[test]
    fn a_number_is_a_day_only_where_days_are_numbers() {
        let habit = |serials| Habit { order: None, serials };
        let read = |serials| read("45292", habit(serials)).map(|day| day.to_string());
        assert_eq!(read(Serials::From1900).unwrap(), "2024-01-01");
        assert_eq!(read(Serials::From1904).unwrap(), "2028-01-02");
        assert!(read(Serials::None).is_err());
    }

    fn order_of(dates: &str) -> Result<Option<DateOrder>, Fault> {
        order(dates.split(',').filter_map(|cell| parts(cell).map(|parts| (cell, parts))), None)
    }

    #[test]
    fn the_order_is_taken_from_dates_that_show_it_and_asked_for_where_none_does() {
        assert_eq!(order_of("3/11/2026,25/11/2026").unwrap(), Some(DateOrder::DayFirst));
        assert_eq!(order_of("3/11/2026,11/25/2026").unwrap(), Some(DateOrder::MonthFirst));
        assert_eq!(order_of("2026-11-03,3.11.2026").unwrap(), None);
        assert!(order_of("3/11/2026").unwrap_err().hint.contains("--date-order"));
        assert!(order_of("25/11/2026,11/25/2026").unwrap_err().what.contains("disagree"));
    }
}
