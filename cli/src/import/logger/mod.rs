//! Readings of a logger in: a file of its own program, or a sheet kept by hand.
//!
//! ```text
//! stamps   moments as loggers write them, and what their clock did
//! values   temperatures and humidities out of a cell
//! rows     rows of the file -> readings, and what can't be read
//! ```
//!
//! Columns are found and remembered as for every import; °C or °F and the clock's offset come from
//! the file or from a flag and are never guessed. What may not enter: what readings mean for stock.

mod rows;
mod stamps;
mod values;

use std::collections::BTreeMap;
use std::path::Path;

use spareloop_domain::ledger::body::{Climate, Reading, Sensor};
use spareloop_domain::ledger::draft::check_draft;
use spareloop_domain::ledger::{Body, Draft, Entry};
use spareloop_domain::words::{Day, Place};

use super::columns::{Columns, Field, Guess, needed, needs, optional};
use super::dates::DateOrder;
use super::preview::{Fate, Preview};
use super::reading::{self, Wanted};
use super::{WrongRows, decide, said_of};
use crate::book::copies::Before;
use crate::book::{entries, error_sentence, imports, undone};
use crate::desk::{Desk, Opened, draft};
use crate::fault::Fault;
use crate::fresh;
use crate::printer::Answer;

use rows::Read;
pub use stamps::{ClockHabit, Offset};
pub use values::Degrees;

/// The kind of file, as its columns are remembered.
const KIND: &str = "climate";

/// What a logger's columns may be called.
const FIELDS: &[Field] = &[
    needed(
        "when",
        &[
            "timestamp",
            "time stamp",
            "date time",
            "datetime",
            "time",
            "logged at",
            "reading time",
            "sample time",
            "recorded at",
            "measured at",
            "local time",
            "utc",
            "time utc",
            "date time utc",
            "timestamp utc",
            "date and time",
        ],
    ),
    optional("day", &["date", "reading date", "day date"]),
    needed(
        "temperature",
        &[
            "temp",
            "t",
            "temperature c",
            "temp c",
            "temperature f",
            "temp f",
            "celsius",
            "fahrenheit",
            "temperature celsius",
            "temperature fahrenheit",
            "deg c",
            "deg f",
            "air temperature",
            "temperature degc",
            "temperature degf",
            "ch1 temperature",
        ],
    ),
    optional(
        "humidity",
        &[
            "rh",
            "relative humidity",
            "humidity rh",
            "rh percent",
            "relative humidity percent",
            "humidity percent",
            "hum",
            "ch2 humidity",
            "humidity 0 1",
        ],
    ),
];

/// Most readings of one entry: as JSON they stay under a third of what a sync carries at once.
const MOST_OF_AN_ENTRY: usize = 1_000;

/// How a logger's file is read.
#[derive(Debug, Clone)]
pub struct LoggerOptions {
    /// Where the logger hangs.
    pub place: Place,
    /// Where it sits there.
    pub sensor: Sensor,
    /// Columns mapped by hand.
    pub map: Vec<String>,
    /// The sheet of a workbook.
    pub sheet: Option<String>,
    /// °C or °F, where the file doesn't say.
    pub degrees: Option<Degrees>,
    /// What the clock showed against UTC at the first row, where stamps don't say.
    pub offset: Option<Offset>,
    /// Whether the clock followed summer time.
    pub clock: Option<ClockHabit>,
    /// Which comes first in dates that don't show it.
    pub date_order: Option<DateOrder>,
    /// What becomes of the rest when rows are wrong.
    pub wrong_rows: WrongRows,
}

/// Imports a file: previews it, and writes it once that is agreed to.
pub fn run(desk: &Desk, file: &Path, options: &LoggerOptions) -> Result<Answer, Fault> {
    let mut opened = desk.open()?;
    let known = opened.file.read(|connection| imports::columns(connection, KIND))?;
    let guess = Guess::new(FIELDS, &options.map, &known);
    let fits = |headings: &[String]| guess.fits(headings);
    let wanted = Wanted { sheet: options.sheet.as_deref(), fits: &fits, needed: needs(FIELDS) };
    let sheet = reading::sheet(file, &wanted)?;
    let columns = Columns::map(FIELDS, &sheet.headings, &options.map, &known)?;
    let read = rows::read(&sheet, &columns, options)?;
    let not_read = columns
        .not_read(&sheet.headings)
        .into_iter()
        .map(|index| sheet.headings[index].clone())
        .collect();
    let mut preview = Preview::of(not_read, read.notes.clone());
    let news = news(&opened, options, &read, &mut preview);
    let drafts = drafts(&opened, &news, options, desk.settings.today.value)?;
    let known_entries = opened.entries.len() as u64;
    let farm = opened.farm.id;
    decide(desk, KIND, file, options.wrong_rows, preview, |desk| {
        let mut book = desk.file()?;
        desk.copy_before(&mut book, Before::Import)?;
        book.write(desk.keep, |connection| {
            super::unchanged(connection, known_entries, farm)?;
            for (heading, field) in columns.confirmed() {
                imports::remember_column(connection, KIND, heading, field)?;
            }
            let written = entries::append(connection, drafts, fresh::wall_millis())?;
            undone::together(connection, &written, &said_of(file))?;
            Ok(written.len() as u64)
        })
    })
}

/// What the book has of this place and sensor already.
fn in_the_book(opened: &Opened, options: &LoggerOptions) -> BTreeMap<u64, Reading> {
    let struck = &opened.book.struck_out;
    let standing = |entry: &&Entry| entry.kind == KIND && !struck.contains(&entry.id);
    opened
        .entries
        .iter()
        .filter(standing)
        .filter_map(|entry| match entry.read_body() {
            Ok(Body::Climate(body)) => Some(body),
            _ => None,
        })
        .filter(|body| body.place == options.place && body.sensor == options.sensor)
        .flat_map(|body| body.readings)
        .map(|reading| (reading.millis, reading))
        .collect()
}

/// A reading that is new, with the offset of its clock.
type News = Vec<(Reading, i16)>;

/// Tells new readings from known ones, row by row, and counts what can't be written.
fn news(opened: &Opened, options: &LoggerOptions, read: &Read, preview: &mut Preview) -> News {
    let known = in_the_book(opened, options);
    let mut taken: BTreeMap<u64, Reading> = BTreeMap::new();
    let mut news = News::new();
    for (row, found) in &read.rows {
        let (reading, offset) = match found {
            Ok(found) => found,
            Err(why) => {
                preview.count(*row, Fate::Wrong(why.clone()));
                continue;
            }
        };
        let before = known.get(&reading.millis).map(|known| (known, Where::Book));
        let before =
            before.or_else(|| taken.get(&reading.millis).map(|known| (known, Where::EarlierRow)));
        let fate = match before {
            None => {
                taken.insert(reading.millis, reading.clone());
                news.push((reading.clone(), *offset));
                Fate::New
            }
            Some((known, _)) if same(known, reading) => Fate::Skipped,
            Some((known, at)) => Fate::Wrong(differs(known, reading, at)),
        };
        preview.count(*row, fate);
    }
    news
}

/// Where a reading of the same moment stands.
#[derive(Debug, Clone, Copy)]
enum Where {
    Book,
    EarlierRow,
}

fn differs(known: &Reading, reading: &Reading, at: Where) -> String {
    let (other, here) = (known.temperature_c, reading.temperature_c);
    let values = if (other - here).abs() < 0.006 {
        "another humidity".to_owned()
    } else {
        format!("{other:.2} °C, here {here:.2} °C")
    };
    match at {
        Where::Book => format!(
            "the book has {values} for that moment; if the book is wrong, strike its readings out first (spareloop log --kind climate)"
        ),
        Where::EarlierRow => {
            format!("an earlier row has {values} for that moment; keep one of the two")
        }
    }
}

/// Rounding of °F to °C and back makes no other reading.
fn same(one: &Reading, other: &Reading) -> bool {
    let near = |a: f64, b: f64| (a - b).abs() < 0.006;
    near(one.temperature_c, other.temperature_c)
        && match (one.relative_humidity, other.relative_humidity) {
            (Some(a), Some(b)) => (a - b).abs() < 0.0006,
            (None, None) => true,
            _ => false,
        }
}

/// Entries of bounded size, each of one offset, under the day of its last reading.
fn drafts(
    opened: &Opened,
    news: &News,
    options: &LoggerOptions,
    today: Day,
) -> Result<Vec<Draft>, Fault> {
    let mut sorted = news.clone();
    sorted.sort_by_key(|(reading, _)| reading.millis);
    let mut drafts = Vec::new();
    for of_one_clock in sorted.chunk_by(|a, b| a.1 == b.1) {
        for chunk in of_one_clock.chunks(MOST_OF_AN_ENTRY) {
            let Some((last, offset)) = chunk.last() else { continue };
            let Some(on) = stamps::day(last.millis, *offset) else { continue };
            let body = Climate {
                place: options.place.clone(),
                sensor: options.sensor,
                readings: chunk.iter().map(|(reading, _)| reading.clone()).collect(),
                utc_offset_minutes: Some(*offset),
            };
            let draft = draft(on, body)?;
            check_draft(&opened.book, &draft, today).map_err(|refusal| {
                Fault::refused(error_sentence(&refusal.to_string()), refusal.hint())
                    .keeping("Nothing was written.")
            })?;
            drafts.push(draft);
        }
    }
    Ok(drafts)
}
