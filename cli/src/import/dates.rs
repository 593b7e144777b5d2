//! Days as people write them. Where a file doesn't show whether day or month comes first, it is
//! asked about, never guessed.

use chrono::NaiveDate;
use spareloop_domain::words::Day;

use super::columns::Columns;
use super::reading::Sheet;
use crate::fault::Fault;

/// Which comes first in 3/11/2026.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DateOrder {
    /// The day.
    DayFirst,
    /// The month.
    MonthFirst,
}

/// Fields that hold a day, in any kind of file.
const DATE_FIELDS: &[&str] = &["date", "stored on", "planting day"];

/// Three numbers of a date, as written.
struct Parts {
    numbers: [u32; 3],
    separator: char,
}

fn parts(text: &str) -> Option<Parts> {
    let separator = text.chars().find(|letter| matches!(letter, '/' | '.' | '-'))?;
    let mut numbers = text.trim_end_matches(separator).split(separator).map(|part| {
        let part = part.trim();
        // A time behind the date, as a spreadsheet may add, says nothing here.
        part.split([' ', 'T']).next().unwrap_or(part).parse::<u32>().ok()
    });
    let three = [numbers.next()??, numbers.next()??, numbers.next()??];
    numbers.next().is_none().then_some(Parts { numbers: three, separator })
}

impl Parts {
    /// Whether only the file's habit tells day from month.
    fn needs_order(&self) -> bool {
        self.numbers[0] < 100 && self.separator != '.'
    }
}

/// The order that the dates of a file show, or that a flag gave. None if no date needs it.
pub(super) fn order(
    sheet: &Sheet,
    columns: &Columns,
    given: Option<DateOrder>,
) -> Result<Option<DateOrder>, Fault> {
    if given.is_some() {
        return Ok(given);
    }
    let indices: Vec<usize> = DATE_FIELDS.iter().filter_map(|field| columns.index(field)).collect();
    let cells = sheet
        .records
        .iter()
        .flat_map(|record| indices.iter().filter_map(|index| record.cells.get(*index)))
        .filter_map(|cell| parts(cell).map(|parts| (cell, parts)))
        .filter(|(_, parts)| parts.needs_order());
    let (mut example, mut day_first, mut month_first) = (None, None, None);
    for (cell, parts) in cells {
        example.get_or_insert(cell);
        if parts.numbers[0] > 12 {
            day_first.get_or_insert(cell);
        } else if parts.numbers[1] > 12 {
            month_first.get_or_insert(cell);
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
pub(super) fn read(text: &str, order: Option<DateOrder>) -> Result<Day, String> {
    let wrong = || format!("{text:?} is not a day");
    let date = match parts(text) {
        Some(parts) => {
            let [a, b, c] = parts.numbers;
            let (year, month, day) = match (a >= 1000, order) {
                (true, _) => (a, b, c),
                (false, Some(DateOrder::MonthFirst)) if parts.separator != '.' => (c, a, b),
                (false, _) => (c, b, a),
            };
            let year = if year < 100 { year + 2000 } else { year };
            i32::try_from(year).ok().and_then(|year| NaiveDate::from_ymd_opt(year, month, day))
        }
        None => ["%d %B %Y", "%d %b %Y", "%d-%b-%Y", "%B %d, %Y", "%Y%m%d"]
            .iter()
            .find_map(|format| NaiveDate::parse_from_str(text.trim(), format).ok()),
    };
    Day::new(date.ok_or_else(wrong)?).map_err(|error| error.to_string())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;

    #[test]
    fn days_are_read_as_people_write_them() {
        for text in
            ["2026-11-03", "2026/11/3", "3.11.2026", "3.11.26", "3 Nov 2026", "3 November 2026"]
        {
            assert_eq!(read(text, None).unwrap().to_string(), "2026-11-03", "{text}");
        }
        assert_eq!(
            read("11/3/2026", Some(DateOrder::MonthFirst)).unwrap().to_string(),
            "2026-11-03"
        );
        assert_eq!(read("3/11/2026", Some(DateOrder::DayFirst)).unwrap().to_string(), "2026-11-03");
        assert_eq!(read("2026-11-03 00:00:00", None).unwrap().to_string(), "2026-11-03");
    }

    #[test]
    fn what_is_no_day_is_refused() {
        for text in ["31.2.2026", "soon", "2026-13-01", "1/2", "3.11.1850"] {
            assert!(read(text, Some(DateOrder::DayFirst)).is_err(), "{text}");
        }
    }

    fn order_of(dates: &str) -> Result<Option<DateOrder>, Fault> {
        use crate::import::columns::{Field, needed};
        const FIELDS: &[Field] = &[needed("date", &[])];
        let records = dates
            .split(',')
            .map(|cell| super::super::reading::Record { row: 2, cells: vec![cell].into() })
            .collect();
        let sheet = Sheet { headings: vec!["date".into()], records };
        let columns =
            Columns::map(FIELDS, &sheet.headings, &[], &std::collections::BTreeMap::new()).unwrap();
        order(&sheet, &columns, None)
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
