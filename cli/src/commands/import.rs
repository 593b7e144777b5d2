//! `import`: spreadsheets in.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};
use spareloop_domain::words::{Day, LossCause, Packing, UnitKind};

use crate::desk::Desk;
use crate::fault::Fault;
use crate::import::{self, DateOrder, FileKind, Options, Season};
use crate::printer::Answer;

const STOCK_HELP: &str = "\
Examples:
  spareloop import stock autumn.csv
  spareloop import stock winter.xlsx --sheet Stock
  spareloop import stock autumn.csv --map 'Cultivar=variety' --map 'How many=count' --yes

One row is one lot. Fields: variety and count (needed); unit, place, packing, stored on, origin,
lot label, form, size, colour. Columns are guessed by their heading in any order and case, kept once
confirmed, and mapped by hand with --map 'HEADING=FIELD' (FIELD `-` leaves a column out).
Unit: clump, division (unless told), pot tuber, started plant, rooted cutting. Packing: film wrap,
vermiculite, peat, shavings, sand, soil, paper, none, other. Dates: YYYY-MM-DD, or day and month in
the order that the file shows; where it doesn't show it, give --date-order.

CSV: comma, semicolon or tab between fields, quotes, a byte-order mark, UTF-8 or Windows-1252 are
told apart by themselves. XLSX: the first sheet whose headings fit, or --sheet; of a formula the
last saved value is taken, and said. At most 200,000 rows and 1,000 columns. Nothing is written
before you confirm, then all of it at once. A second import of the same rows adds nothing: a row is
known again by its lot label or, without one, by everything in it but the count.";

const CHECKS_HELP: &str = "\
Examples:
  spareloop import checks checks.csv --yes
  spareloop import checks winter.xlsx --season 2025 --lost-to rot

One row is one look at one lot. Fields: lot label, date, sound (needed); look, scope, inspected,
doubtful, rot, dried out, frozen, gnawed, broken, culled, mislaid, blind, other, sprouted. The lot
is named by the label it was imported with, or by its code. Scope: whole or sample; unless told, a
look at as many as the lot held then is one at the whole of it. Look: through the wrap, or unpacked
(unless told).

Or one row a lot and one column a look, with its day as the heading (2025-11-12, 12.11., Nov 12; a
day without a year needs --season 2025). Fields beside the days: lot label or variety; unit, place,
stored on, origin, cause. A cell says what was alive, as 38; or 38/40 for a sample, -2 rot,
38 sound, 2 rot, ok (all there), x (all gone); an empty one says that nobody
looked. What is missing is lost to the cause in the cell, in the row's cause, or in --lost-to. More
than were there is refused.
Everything else is as with spareloop import stock --help.";

const LIFTED_HELP: &str = "\
Example: spareloop import lifted lifted.csv

One row is the clumps of one variety dug from one bed. Fields: variety, clumps, date (needed); lot
label, bed, form, size, colour. Everything else is as with spareloop import stock --help.";

const BENCH_HELP: &str = "\
Example: spareloop import bench bench.csv

One row is the clumps of one lot divided in one sitting. Fields: from lot, clumps, date, sound
(needed); lot label (of the divisions), session, eyes, rot, no eye, broken neck, dried out, too
small, suspicious, other, tools between clumps, tool dip, tool dip percent, tool dip minutes, soak,
soak percent, soak minutes, packing, place. Everything else is as with spareloop import stock
--help.";

const PLAN_HELP: &str = "\
Example: spareloop import plan plan.csv

One row says how many plants of a variety are wanted. Fields: variety, plants wanted, planting day
(needed); unit, keep back. Everything else is as with spareloop import stock --help.";

/// What can be imported.
#[derive(Debug, Subcommand)]
pub enum Import {
    /// Stock on hand, a lot a row.
    #[command(after_long_help = STOCK_HELP)]
    Stock(Source),
    /// Storage checks, a look a row.
    #[command(after_long_help = CHECKS_HELP)]
    Checks(Source),
    /// Clumps lifted, a lot a row.
    #[command(after_long_help = LIFTED_HELP)]
    Lifted(Source),
    /// Clumps divided at the bench, a lot a row.
    #[command(after_long_help = BENCH_HELP)]
    Bench(Source),
    /// A whole stock book, as spareloop export book wrote it.
    #[command(name = "book", alias = "ledger")]
    Book(import::brought::BookFile),
    /// Plants wanted, a variety a row.
    #[command(after_long_help = PLAN_HELP)]
    Plan(Source),
}

/// Which comes first where both could be the month.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum Order {
    /// 3/11 is the 3rd of November.
    DayFirst,
    /// 3/11 is the 11th of March.
    MonthFirst,
}

/// A file and how to read it.
#[derive(Debug, Args)]
pub struct Source {
    /// The XLSX or CSV file, or - for standard input.
    file: PathBuf,
    /// The sheet of a workbook, if it isn't the first that fits.
    #[arg(long, value_name = "NAME")]
    sheet: Option<String>,
    /// Which column holds which field, as 'Cultivar=variety'; may be given again.
    #[arg(long = "map", value_name = "HEADING=FIELD")]
    map: Vec<String>,
    /// Which comes first in dates like 3/11/2026.
    #[arg(long, value_enum)]
    date_order: Option<Order>,
    /// The day stock was counted, where a row has no date; else that of its first look, or today.
    #[arg(long, value_name = "DAY")]
    on: Option<Day>,
    /// What a unit is, where a row doesn't say.
    #[arg(long, default_value = "division")]
    unit: UnitKind,
    /// What stock lies in, where a row doesn't say.
    #[arg(long)]
    packing: Option<Packing>,
    /// The year of the autumn in which the season began, for days without a year.
    #[arg(long, value_name = "YEAR", value_parser = clap::value_parser!(i32).range(1900..2199))]
    season: Option<i32>,
    /// What counts that go down were lost to, where a sheet of looks doesn't say.
    #[arg(long, value_name = "CAUSE")]
    lost_to: Option<LossCause>,
    /// Leave wrong rows out and write the rest.
    #[arg(long)]
    leave_out_wrong: bool,
    /// Take names much like a known one for new varieties.
    #[arg(long)]
    new_names: bool,
}

/// Runs it.
pub fn run(command: Import, desk: &Desk) -> Result<Answer, Fault> {
    let (kind, it) = match command {
        Import::Stock(it) => (FileKind::Stock, it),
        Import::Checks(it) => (FileKind::Checks, it),
        Import::Lifted(it) => (FileKind::Lifted, it),
        Import::Bench(it) => (FileKind::Bench, it),
        Import::Plan(it) => (FileKind::Plan, it),
        Import::Book(it) => return import::brought::run(&it, desk),
    };
    let options = Options {
        map: it.map,
        date_order: it.date_order.map(|order| match order {
            Order::DayFirst => DateOrder::DayFirst,
            Order::MonthFirst => DateOrder::MonthFirst,
        }),
        on: it.on,
        today: desk.settings.today.value,
        sheet: it.sheet,
        season: it.season.map(Season),
        lost_to: it.lost_to,
        unit: it.unit,
        packing: it.packing,
        wrong_rows: if it.leave_out_wrong {
            import::WrongRows::LeftOut
        } else {
            import::WrongRows::StopAll
        },
        near_names: if it.new_names {
            import::NearNames::AreNew
        } else {
            import::NearNames::AreSlips
        },
    };
    import::run(desk, kind, &it.file, &options)
}
