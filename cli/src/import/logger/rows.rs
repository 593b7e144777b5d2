//! Rows of a logger's file as readings, and what can't be read.

use chrono::NaiveDateTime;
use spareloop_domain::ledger::body::Reading;

use super::values::{self, Degrees, Humidity};
use super::{LoggerOptions, stamps};
use crate::fault::Fault;
use crate::import::columns::Columns;
use crate::import::dates::{self, Habit};
use crate::import::headings::Sheet;
use crate::import::table::Record;
use stamps::Stamp;

/// A reading with the offset of its clock in minutes, or why a row holds none.
type Found = Result<(Reading, i16), String>;

/// A file that was read.
pub(super) struct Read {
    /// Rows by their place in the file; those without any temperature are left out.
    pub(super) rows: Vec<(u64, Found)>,
    /// How it was read, in words.
    pub(super) notes: Vec<String>,
}

/// The cell of a field.
fn cell<'a>(record: &'a Record, columns: &Columns, field: &str) -> Option<&'a str> {
    let index = columns.index(field)?;
    record.cells.get(index).map(str::trim).filter(|cell| !cell.is_empty())
}

/// Reads every row.
pub(super) fn read(
    sheet: &Sheet,
    columns: &Columns,
    options: &LoggerOptions,
) -> Result<Read, Fault> {
    let mut notes = Vec::new();
    notes.extend(sheet.name.as_ref().map(|name| format!("Read from the sheet '{name}'.")));
    let degrees = degrees(sheet, columns, options.degrees)?;
    let humidity = humidity_told(sheet, columns);
    if humidity == Humidity::Fraction {
        notes.push("Humidity is read as a fraction (0.85 is 85 %).".to_owned());
    }
    let with_readings: Vec<&Record> = sheet
        .records
        .iter()
        .filter(|record| cell(record, columns, "temperature").is_some())
        .collect();
    match sheet.records.len() - with_readings.len() {
        0 => {}
        1 => notes.push("1 row holds no temperature and is left out.".to_owned()),
        many => notes.push(format!("{many} rows hold no temperature and are left out.")),
    }
    let habit = habit(&with_readings, sheet, columns, options)?;
    let mut stamped: Vec<(&Record, Stamp)> = Vec::with_capacity(with_readings.len());
    let mut rows = Vec::new();
    for record in with_readings {
        match sound(record, sheet, columns).and_then(|()| stamp(record, columns, habit)) {
            Ok(stamp) => stamped.push((record, stamp)),
            Err(why) => rows.push((record.row, Err(why))),
        }
    }
    let found: Vec<Stamp> = stamped.iter().map(|(_, stamp)| *stamp).collect();
    let places: Vec<u64> = stamped.iter().map(|(record, _)| record.row).collect();
    let clock = stamps::offsets(&found, &places, options.offset, options.clock)?;
    notes.extend(clock.notes);
    let mut last = 0;
    let mut behind = 0_usize;
    for ((record, stamp), offset) in stamped.iter().zip(&clock.offsets) {
        let reading = reading(record, columns, stamp.local, offset.0, degrees, humidity);
        if let Ok((reading, _)) = &reading {
            behind += usize::from(reading.millis < last);
            last = last.max(reading.millis);
        }
        rows.push((record.row, reading));
    }
    match behind {
        0 => {}
        1 => notes.push("1 row stands out of its order in time; it was put in order.".to_owned()),
        many => notes
            .push(format!("{many} rows stand out of their order in time; they were put in order.")),
    }
    rows.sort_by_key(|(row, _)| *row);
    notes.extend(gaps(&rows));
    Ok(Read { rows, notes })
}

/// °C or °F: by the flag, the heading or the cells. They must not disagree.
fn degrees(sheet: &Sheet, columns: &Columns, given: Option<Degrees>) -> Result<Degrees, Fault> {
    let heading = columns.index("temperature").and_then(|at| sheet.headings.get(at));
    let heading = heading.map_or("", String::as_str);
    let by_heading = values::of_heading(heading);
    match (given, by_heading) {
        (Some(given), Some(said)) if given != said => Err(Fault::refused(
            format!("--degrees disagrees with the heading '{heading}'."),
            "Leave --degrees out, or correct the heading in the file.",
        )
        .keeping("Nothing was written.")),
        (Some(degrees), _) | (None, Some(degrees)) => Ok(degrees),
        (None, None) => {
            let cells = || {
                let cells = sheet.records.iter();
                cells.filter_map(|record| cell(record, columns, "temperature"))
            };
            // Each cell is read by its own unit; this is only for those that have none.
            match cells().map(values::of_cell).find(Option::is_none) {
                None => Ok(Degrees::Celsius),
                Some(_) => Err(Fault::decision(
                    format!("The column '{heading}' doesn't say whether it holds °C or °F."),
                    "Say which with --degrees celsius or --degrees fahrenheit.",
                )
                .keeping("Nothing was written.")),
            }
        }
    }
}

fn humidity_told(sheet: &Sheet, columns: &Columns) -> Humidity {
    let mut cells =
        sheet.records.iter().filter_map(|record| cell(record, columns, "humidity")).peekable();
    if cells.peek().is_none() || cells.any(values::is_percent) {
        Humidity::Percent
    } else {
        Humidity::Fraction
    }
}

fn habit(
    records: &[&Record],
    sheet: &Sheet,
    columns: &Columns,
    options: &LoggerOptions,
) -> Result<Habit, Fault> {
    let field = if columns.index("day").is_some() { "day" } else { "when" };
    let days = records
        .iter()
        .filter_map(|record| cell(record, columns, field))
        .map(stamps::date_part)
        .filter_map(|date| dates::parts(date).map(|parts| (date, parts)))
        .filter(|(_, parts)| parts.numbers.len() == 3);
    let order = dates::order(days, options.date_order)?;
    Ok(Habit { order, serials: sheet.serials })
}

/// Refuses a row in whose columns a cell holds no value.
fn sound(record: &Record, sheet: &Sheet, columns: &Columns) -> Result<(), String> {
    match record.odd.iter().find(|(column, _)| columns.is_taken(*column)) {
        None => Ok(()),
        Some((column, odd)) => {
            let heading = sheet.headings.get(*column).map_or("", String::as_str);
            Err(format!("{heading}: the cell {odd}"))
        }
    }
}

fn stamp(record: &Record, columns: &Columns, habit: Habit) -> Result<Stamp, String> {
    let when = cell(record, columns, "when").ok_or_else(|| "the moment is missing".to_owned())?;
    stamps::read(cell(record, columns, "day"), when, habit)
}

fn reading(
    record: &Record,
    columns: &Columns,
    local: NaiveDateTime,
    offset: i16,
    degrees: Degrees,
    told: Humidity,
) -> Found {
    let temperature = cell(record, columns, "temperature").unwrap_or_default();
    let temperature_c = values::temperature(temperature, degrees)?;
    let humidity = cell(record, columns, "humidity");
    let relative_humidity = humidity.map(|cell| values::humidity(cell, told)).transpose()?;
    let millis = local.and_utc().timestamp_millis() - i64::from(offset) * 60_000;
    let millis =
        u64::try_from(millis).map_err(|_| "a moment before 1970 is no reading".to_owned())?;
    Ok((Reading { millis, temperature_c, relative_humidity }, offset))
}

/// How many gaps the readings have, and the longest.
fn gaps(rows: &[(u64, Found)]) -> Option<String> {
    use spareloop_domain::climate::{Celsius, Point, Series};
    let point = |reading: &Reading| {
        let temperature = Celsius::new(reading.temperature_c).ok()?;
        Some(Point { millis: reading.millis, temperature, humidity: None })
    };
    let points =
        rows.iter().filter_map(|(_, found)| found.as_ref().ok()).filter_map(|(it, _)| point(it));
    let gaps = Series::new(points.collect(), 0).gaps();
    let longest = gaps.iter().map(|gap| gap.to - gap.from).max()?;
    let hours = longest as f64 / 3_600_000.0;
    let (many, have) = if gaps.len() == 1 {
        ("1 gap".to_owned(), String::new())
    } else {
        (format!("{} gaps", gaps.len()), ", the longest".to_owned())
    };
    Some(format!(
        "The readings have {many}{have} of {hours:.1} hours; no hour of a gap is counted."
    ))
}
