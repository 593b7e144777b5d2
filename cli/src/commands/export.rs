//! `export`: the whole book, or a table of it.

use std::io::{IsTerminal, stdout};
use std::path::{Path, PathBuf};

use clap::{Args, Subcommand, ValueEnum};
use serde_json::json;

use crate::book::{BookError, Keep, StockBook, entries, farm};
use crate::desk::Desk;
use crate::export::csv::{self, Mark, Separator};
use crate::export::lines::entry_line;
use crate::export::place::{Replace, Target};
use crate::export::sheets::{Kind, Seen};
use crate::export::{whole, xlsx};
use crate::fault::Fault;
use crate::printer::{self, Answer};

/// The whole stock book or a table of it, to a file or standard output.
#[derive(Debug, Args)]
#[command(
    args_conflicts_with_subcommands = true,
    after_help = "\
Examples:
  spareloop export book --to heron-hill.jsonl
  spareloop export checks --to checks.csv
  spareloop export stock --to stock.xlsx
  spareloop export all --to /media/stick/heron-hill
  spareloop export > entries.jsonl
Without a word behind it: every entry and nothing else, one JSON object a line, chain by chain."
)]
pub struct Export {
    #[command(subcommand)]
    what: Option<What>,
}

/// What is written out.
#[derive(Debug, Subcommand)]
pub enum What {
    /// The whole stock book without loss, for another machine or another program.
    #[command(
        name = "book",
        alias = "ledger",
        after_help = "\
Examples:
  spareloop export book --to heron-hill.jsonl
  spareloop export book --to - | gzip > heron-hill.jsonl.gz
JSON Lines: first the farm and its settings, then an entry a line, then what was set aside and what
imports remember; the last line says whether the file is whole. No sign-in is in it. Back in with:
spareloop import book FILE. To be safe against a broken disk, spareloop backup make is simpler."
    )]
    Book(To),
    /// What is in store, a lot a row.
    #[command(after_help = "Example: spareloop export stock --to stock.xlsx")]
    Stock(Sheet),
    /// What will survive, what is spare, what is short.
    #[command(
        after_help = "Example: spareloop export forecast --to forecast.csv --semicolon --mark"
    )]
    Forecast(Sheet),
    /// Storage checks, a look a row.
    #[command(after_help = "Example: spareloop export checks --to checks.csv")]
    Checks(Sheet),
    /// Every lot that ever was, with all that is known of it.
    #[command(after_help = "Example: spareloop export lots --to lots.xlsx")]
    Lots(Sheet),
    /// Clumps lifted, a lot a row.
    #[command(after_help = "Example: spareloop export lifted --to lifted.csv")]
    Lifted(Sheet),
    /// Varieties, with all that is known of them.
    #[command(after_help = "Example: spareloop export varieties --to varieties.csv")]
    Varieties(Sheet),
    /// Plants wanted, a variety a row.
    #[command(after_help = "Example: spareloop export plan --to plan.csv")]
    Plan(Sheet),
    /// Where facts disagree.
    #[command(after_help = "Example: spareloop export problems --format json")]
    Problems(Sheet),
    /// What was noted, with what was struck out, by whom and why.
    #[command(after_help = "Example: spareloop export log --to log.xlsx")]
    Log(Sheet),
    /// All of it: a workbook with a sheet for every table, and the whole book beside it.
    #[command(after_help = "\
Example: spareloop export all --to /media/stick/heron-hill
Makes the folder if there is none, and in it stock-book.xlsx and stock-book.jsonl.")]
    All(Folder),
}

/// A table and how it is written.
#[derive(Debug, Args)]
pub struct Sheet {
    #[command(flatten)]
    to: To,
    /// How; unless told, as the file's ending says, else csv.
    #[arg(long, value_enum)]
    format: Option<Format>,
    /// CSV with ; between the fields and , in fractions, as many European programs want it.
    #[arg(long)]
    semicolon: bool,
    /// CSV that begins with a byte-order mark, by which some programs know UTF-8.
    #[arg(long)]
    mark: bool,
}

/// How a table is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Format {
    /// A workbook.
    Xlsx,
    /// Text that every spreadsheet program reads.
    Csv,
    /// One object.
    Json,
}

/// A folder to write into.
#[derive(Debug, Args)]
pub struct Folder {
    /// The folder.
    #[arg(long = "to", value_name = "FOLDER")]
    folder: PathBuf,
    /// Replace files of those names.
    #[arg(long)]
    replace: bool,
}

/// Where to.
#[derive(Debug, Args)]
pub struct To {
    /// The file to write; - is standard output.
    #[arg(long = "to", value_name = "FILE")]
    file: Option<PathBuf>,
    /// Replace the file if it is there.
    #[arg(long)]
    replace: bool,
}

impl To {
    fn target(&self) -> Target {
        Target::of(self.file.as_deref())
    }

    const fn replace(&self) -> Replace {
        if self.replace { Replace::Agreed } else { Replace::Never }
    }
}

/// Runs it.
pub fn run(it: Export, desk: &Desk) -> Result<Answer, Fault> {
    match it.what {
        None => bare_entries(desk),
        Some(What::Book(to)) => book(&to, desk),
        Some(What::All(folder)) => all(&folder, desk),
        Some(What::Stock(it)) => table(Kind::Stock, &it, desk),
        Some(What::Forecast(it)) => table(Kind::Forecast, &it, desk),
        Some(What::Checks(it)) => table(Kind::Checks, &it, desk),
        Some(What::Lots(it)) => table(Kind::Lots, &it, desk),
        Some(What::Lifted(it)) => table(Kind::Lifted, &it, desk),
        Some(What::Varieties(it)) => table(Kind::Varieties, &it, desk),
        Some(What::Plan(it)) => table(Kind::Plan, &it, desk),
        Some(What::Problems(it)) => table(Kind::Problems, &it, desk),
        Some(What::Log(it)) => table(Kind::Log, &it, desk),
    }
}

/// Every entry in its canonical form and nothing else.
fn bare_entries(desk: &Desk) -> Result<Answer, Fault> {
    let opened = desk.open()?;
    let lines = opened
        .entries
        .iter()
        .map(|entry| entry_line(entry).map(|line| String::from_utf8_lossy(&line).into_owned()))
        .collect::<Result<Vec<_>, _>>()
        .map_err(|error| {
            Fault::failed(format!("An entry can't be written: {error}."), "Run: spareloop doctor")
        })?;
    Ok(Answer::new("export", lines.join("\n"), json!({ "entries": opened.entries })))
}

fn book(to: &To, desk: &Desk) -> Result<Answer, Fault> {
    let target = to.target();
    target.check(to.replace())?;
    if target == Target::Stdout {
        refuse_beside_json(desk, "The stock book", "book.jsonl")?;
    }
    let mut file = desk.file()?;
    if let (Keep::Rehearsed, Target::File(path)) = (desk.keep, &target) {
        let count = file.read(entries::count)?;
        let text = format!(
            "Would write the stock book with {} to {} (--dry-run).",
            printer::entries(count),
            path.display()
        );
        return Ok(Answer::new("export", text, json!({ "file": path, "kept": false })));
    }
    note_left(&mut file, desk.keep)?;
    let written = target.write(to.replace(), |out| whole::write(&mut file, out))?;
    let (Some(written), Target::File(path)) = (written, &target) else {
        return Ok(Answer::as_it_is("export", ""));
    };
    let text = format!(
        "Wrote the whole stock book to {}: {}, each in full.",
        path.display(),
        printer::entries(written.entries)
    );
    Ok(Answer::new("export", text, json!({ "file": path, "written": written })))
}

/// With `--json` standard output holds one object of ours, and nothing else fits beside it.
fn refuse_beside_json(desk: &Desk, what: &str, example: &str) -> Result<(), Fault> {
    if desk.format != printer::Format::Json {
        return Ok(());
    }
    Err(Fault::usage(
        format!("{what} is no JSON object, and with --json standard output holds one."),
        format!("Give a file: --to {example}   (or leave --json out)"),
    ))
}

/// Notes that every entry may leave this device, so that `undo` strikes out from now on what
/// another book may hold by then. A book that can't be written to can still be taken out.
fn note_left(file: &mut StockBook, keep: Keep) -> Result<(), Fault> {
    let noted = file.write(keep, |connection| {
        let device = farm::device(connection)?.id;
        match entries::head(connection, device)? {
            Some(head) => farm::mark_sent(connection, device, head.seq),
            None => Ok(()),
        }
    });
    match noted {
        Err(BookError::ReadOnly | BookError::DiskFull | BookError::DiskFails) => Ok(()),
        other => Ok(other?),
    }
}

impl Sheet {
    /// As told, or as the file's ending says.
    fn format(&self, desk: &Desk) -> Result<Format, Fault> {
        let ending = match self.to.target() {
            Target::Stdout => None,
            Target::File(path) => path.extension().map(|it| it.to_string_lossy().to_lowercase()),
        };
        let format = self.format.or(match ending.as_deref() {
            Some("xlsx") => Some(Format::Xlsx),
            Some("json") => Some(Format::Json),
            None if desk.format == printer::Format::Json => Some(Format::Json),
            _ => None,
        });
        let format = format.unwrap_or(Format::Csv);
        if format != Format::Csv && (self.semicolon || self.mark) {
            return Err(Fault::usage(
                "--semicolon and --mark say how CSV is written.",
                "Leave them out, or give --format csv.",
            ));
        }
        if format != Format::Json && self.to.target() == Target::Stdout {
            refuse_beside_json(desk, "Such a table", "table.csv")?;
        }
        if format == Format::Xlsx && self.to.target() == Target::Stdout && stdout().is_terminal() {
            return Err(Fault::usage(
                "A workbook can't be shown on a terminal.",
                "Give a file: --to stock.xlsx",
            ));
        }
        Ok(format)
    }

    const fn separator(&self) -> Separator {
        if self.semicolon { Separator::Semicolon } else { Separator::Comma }
    }

    const fn byte_order(&self) -> Mark {
        if self.mark { Mark::ByteOrder } else { Mark::None }
    }
}

fn table(kind: Kind, it: &Sheet, desk: &Desk) -> Result<Answer, Fault> {
    let (target, replace, format) = (it.to.target(), it.to.replace(), it.format(desk)?);
    target.check(replace)?;
    let mut opened = desk.open()?;
    let table = Seen::of(desk, &mut opened)?.table(kind)?;
    let rows = table.rows.len();
    if let (Keep::Rehearsed, Target::File(path)) = (desk.keep, &target) {
        let text = format!("Would write {rows} rows to {} (--dry-run).", path.display());
        return Ok(Answer::new("export", text, json!({ "file": path, "kept": false })));
    }
    target.write(replace, |out| match format {
        Format::Csv => csv::write(&table, it.separator(), it.byte_order(), out),
        Format::Xlsx => xlsx::write(std::slice::from_ref(&table), out),
        Format::Json => Ok(writeln!(out, "{}", table.to_json())?),
    })?;
    let Target::File(path) = &target else { return Ok(Answer::as_it_is("export", "")) };
    let rows_word = if rows == 1 { "1 row".to_owned() } else { format!("{rows} rows") };
    Ok(Answer::new(
        "export",
        format!("Wrote {rows_word} to {}.", path.display()),
        json!({ "file": path, "rows": rows }),
    ))
}

fn all(it: &Folder, desk: &Desk) -> Result<Answer, Fault> {
    let replace = if it.replace { Replace::Agreed } else { Replace::Never };
    let workbook = Target::File(it.folder.join("stock-book.xlsx"));
    let lines = Target::File(it.folder.join("stock-book.jsonl"));
    let mut opened = desk.open()?;
    if desk.keep == Keep::Rehearsed {
        let text = format!("Would write all of it into {} (--dry-run).", it.folder.display());
        return Ok(Answer::new("export", text, json!({ "folder": it.folder, "kept": false })));
    }
    make_folder(&it.folder)?;
    // Both are looked at first, so that a refusal leaves neither half done.
    workbook.check(replace)?;
    lines.check(replace)?;
    let seen = Seen::of(desk, &mut opened)?;
    let tables = Kind::ALL.iter().map(|kind| seen.table(*kind)).collect::<Result<Vec<_>, _>>()?;
    workbook.write(replace, |out| xlsx::write(&tables, out))?;
    let mut file = desk.file()?;
    note_left(&mut file, desk.keep)?;
    let written = lines.write(replace, |out| whole::write(&mut file, out))?;
    let count = printer::entries(written.map_or(0, |written| written.entries));
    let text = format!(
        "Wrote stock-book.xlsx ({} sheets) and stock-book.jsonl ({count}, each in full) into {}.",
        tables.len(),
        it.folder.display()
    );
    Ok(Answer::new("export", text, json!({ "folder": it.folder, "written": written })))
}

fn make_folder(folder: &Path) -> Result<(), Fault> {
    if folder.is_dir() {
        return Ok(());
    }
    std::fs::create_dir(folder).map_err(|error| {
        Fault::refused(
            format!("The folder {} can't be made: {error}.", folder.display()),
            "Choose one in a folder that is there and that you may write to. Nothing was written.",
        )
    })
}
