//! `climate import`: readings of a logger.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use spareloop_domain::words::Place;

use super::Where;
use crate::desk::Desk;
use crate::fault::Fault;
use crate::import::logger::{self, ClockHabit, Degrees, LoggerOptions, Offset};
use crate::import::{DateOrder, WrongRows};
use crate::printer::Answer;

/// °C or °F.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum Unit {
    /// °C.
    Celsius,
    /// °F.
    Fahrenheit,
}

/// What the clock did when the hour changed.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum Clock {
    /// It followed summer time.
    Followed,
    /// It stood by one offset.
    Fixed,
}

/// Which comes first where both could be the month.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum Order {
    /// 3/11 is the 3rd of November.
    DayFirst,
    /// 3/11 is the 11th of March.
    MonthFirst,
}

/// Imports readings.
#[derive(Debug, Args)]
pub struct Import {
    /// The CSV or XLSX file, or - for standard input.
    file: PathBuf,
    /// Where the logger hangs.
    #[arg(long)]
    place: Place,
    /// Where it sits there.
    #[arg(long, value_enum, default_value = "room")]
    sensor: Where,
    /// Which column holds which field, as 'Front=temperature'; may be given again.
    #[arg(long = "map", value_name = "HEADING=FIELD")]
    map: Vec<String>,
    /// The sheet of a workbook, if it isn't the first that fits.
    #[arg(long, value_name = "NAME")]
    sheet: Option<String>,
    /// What degrees are, where the file doesn't say.
    #[arg(long, value_enum)]
    degrees: Option<Unit>,
    /// How the logger's clock stood against UTC at the first row, as -05:00; Z for UTC.
    #[arg(long, value_name = "OFFSET", allow_hyphen_values = true)]
    utc_offset: Option<Offset>,
    /// Whether the logger's clock followed summer time.
    #[arg(long, value_enum)]
    clock: Option<Clock>,
    /// Which comes first in dates like 3/11/2026.
    #[arg(long, value_enum)]
    date_order: Option<Order>,
    /// Leave wrong rows out and write the rest.
    #[arg(long)]
    leave_out_wrong: bool,
}

/// Runs it.
pub(super) fn run(it: Import, desk: &Desk) -> Result<Answer, Fault> {
    let options = LoggerOptions {
        place: it.place,
        sensor: it.sensor.into(),
        map: it.map,
        sheet: it.sheet,
        degrees: it.degrees.map(|unit| match unit {
            Unit::Celsius => Degrees::Celsius,
            Unit::Fahrenheit => Degrees::Fahrenheit,
        }),
        offset: it.utc_offset,
        clock: it.clock.map(|clock| match clock {
            Clock::Followed => ClockHabit::Followed,
            Clock::Fixed => ClockHabit::Fixed,
        }),
        date_order: it.date_order.map(|order| match order {
            Order::DayFirst => DateOrder::DayFirst,
            Order::MonthFirst => DateOrder::MonthFirst,
        }),
        wrong_rows: if it.leave_out_wrong { WrongRows::LeftOut } else { WrongRows::StopAll },
    };
    logger::run(desk, &it.file, &options)
}
