//! `backup`: a verified copy of the book, what copies there are, and one of them put back.

use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use serde_json::json;

use crate::book::backup::{self, Copied, Incoming};
use crate::book::{BookError, Keep, StockBook, copies, error_sentence, farm};
use crate::desk::Desk;
use crate::fault::Fault;
use crate::fresh;
use crate::printer::Answer;

/// What can be done about copies.
#[derive(Debug, Subcommand)]
pub enum Backup {
    /// Write a copy, and verify every entry in it. It carries no sign-in.
    #[command(after_help = "\
Examples:
  spareloop backup make /media/stick/book-2026-11-25.sqlite
  spareloop backup make                      into the folder beside the book
A copy on the same disk helps against a slip; one on a stick against a broken machine.")]
    Make(Make),
    /// Read a copy, or the book itself, through to its last entry.
    #[command(after_help = "\
Examples:
  spareloop backup verify /media/stick/book-2026-11-25.sqlite
  spareloop backup verify                    the book itself")]
    Verify(Verify),
    /// List the copies beside the book, newest first.
    #[command(after_help = "\
Example: spareloop backup list
Copies are made by themselves before an import, before a season is closed and before the book's
tables change with a new version; a book that a copy replaced is kept too.")]
    List,
    /// Put a copy in the book's place; the replaced book is kept beside it.
    #[command(after_help = "\
Example: spareloop backup restore /media/stick/book-2026-11-25.sqlite --yes
The next sync sees that the copy is older, fetches what it lacks and takes a new device id.")]
    Restore(Restore),
}

/// Writes a copy.
#[derive(Debug, Args)]
pub struct Make {
    /// Where to; the file must not exist [default: the folder beside the book]
    file: Option<PathBuf>,
}

/// Reads a copy through.
#[derive(Debug, Args)]
pub struct Verify {
    /// The copy [default: the book itself]
    file: Option<PathBuf>,
}

/// Puts a copy back.
#[derive(Debug, Args)]
pub struct Restore {
    /// The copy.
    file: PathBuf,
}

/// Runs it.
pub fn run(command: Backup, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Backup::Make(it) => make(it.file, desk),
        Backup::Verify(it) => verify(it.file, desk),
        Backup::List => list(desk),
        Backup::Restore(it) => restore(&it.file, desk),
    }
}

fn make(target: Option<PathBuf>, desk: &Desk) -> Result<Answer, Fault> {
    let book = &desk.settings.book.value;
    if let Some(folder) = target.as_deref().and_then(Path::parent)
        && !(folder.as_os_str().is_empty() || folder.is_dir())
    {
        // A stick that isn't there would else become a folder of that name on the same disk.
        return Err(Fault::refused(
            format!("There is no folder {}.", folder.display()),
            "Put the stick or disk in, or make the folder first. Nothing was written.",
        ));
    }
    let target = target.unwrap_or_else(|| copies::named(book, fresh::wall_millis(), "copy"));
    if target.exists() {
        return Err(Fault::refused(
            format!("{} is there already.", target.display()),
            "Choose another name; a copy never replaces one.",
        ));
    }
    if desk.keep == Keep::Rehearsed {
        return Ok(Answer::new(
            "backup",
            format!("Would copy the book to {} (--dry-run).", target.display()),
            json!({ "file": target, "kept": false }),
        ));
    }
    let copied = desk.file()?.copy_to(&target, desk.settings.wait_for_book.value)?;
    let text = format!(
        "Copied the book of {} to {}: {} entries, each verified.",
        copied.farm,
        target.display(),
        copied.entries
    );
    Ok(Answer::new(
        "backup",
        text,
        json!({ "file": target, "entries": copied.entries, "farm": copied.farm }),
    ))
}

fn verify(file: Option<PathBuf>, desk: &Desk) -> Result<Answer, Fault> {
    let (file, Copied { farm, entries }) = match file {
        None => (desk.settings.book.value.clone(), desk.file()?.verify()?),
        Some(file) => {
            let found = backup::verify(&file, desk.settings.wait_for_book.value);
            let copied = found.map_err(|error| of_a_copy(&file, &error, "can't be relied on"))?;
            (file, copied)
        }
    };
    let text = format!(
        "{} is whole: the book of {farm} with {entries} entries, each verified.",
        file.display()
    );
    Ok(Answer::new("verify", text, json!({ "file": file, "entries": entries, "farm": farm })))
}

fn list(desk: &Desk) -> Result<Answer, Fault> {
    let book = &desk.settings.book.value;
    let found = copies::list(book)?;
    let mut lines = vec![match found.len() {
        0 => format!("No copies lie beside {}.", book.display()),
        1 => format!("One copy lies beside {}.", book.display()),
        number => format!("{number} copies lie beside {}, newest first.", book.display()),
    }];
    for copy in &found {
        lines.push(format!(
            "{}  {:>8} kB  {}",
            copy.made.format("%Y-%m-%d %H:%M UTC"),
            copy.bytes.div_ceil(1024),
            copy.path.display()
        ));
    }
    lines.push(match found.first() {
        None => "To make one: spareloop backup make FILE".to_owned(),
        Some(_) => "To look at one: spareloop backup verify FILE   \
                    To put one back: spareloop backup restore FILE"
            .to_owned(),
    });
    let data: Vec<_> = found
        .iter()
        .map(|copy| {
            json!({ "file": copy.path, "bytes": copy.bytes, "made": copy.made.to_rfc3339() })
        })
        .collect();
    Ok(Answer::new("copies", lines.join("\n"), json!({ "copies": data })))
}

fn of_a_copy(copy: &Path, error: &BookError, verdict: &str) -> Fault {
    Fault::refused(
        format!("{} {verdict}: {}", copy.display(), error_sentence(&error.to_string())),
        "Use another copy; those beside the book: spareloop backup list",
    )
    .keeping("The book is as it was.")
}

fn restore(copy: &Path, desk: &Desk) -> Result<Answer, Fault> {
    let wait = desk.settings.wait_for_book.value;
    let book = &desk.settings.book.value;
    let (mut incoming, verified) = Incoming::beside(book, copy, wait)
        .map_err(|error| of_a_copy(copy, &error, "can't be put back"))?;
    if book.exists() {
        refuse_other_farm(book, &incoming.book.read(farm::get)?, desk)?;
        desk.ask.consent(&format!(
            "Put the copy with {} entries in the place of {}?",
            verified.entries,
            book.display()
        ))?;
    }
    if desk.keep == Keep::Rehearsed {
        return Ok(Answer::new(
            "restore",
            "Would be put back (--dry-run).",
            json!({ "kept": false }),
        ));
    }
    let aside =
        backup::put_in_place(incoming, book, fresh::wall_millis(), wait).map_err(|error| {
            Fault::failed(
                format!("The copy can't be put in place: {}", error_sentence(&error.to_string())),
                "Check the room on the disk and who may write there, then try again.",
            )
            .keeping("The book that was there is kept.")
        })?;
    let kept = aside.as_ref().map_or_else(String::new, |aside| {
        format!(" The book that was there is kept as {}.", aside.display())
    });
    Ok(Answer::new(
        "restore",
        format!("The book of {} is back with {} entries.{kept}", verified.farm, verified.entries),
        json!({ "book": book, "entries": verified.entries, "aside": aside }),
    ))
}

fn refuse_other_farm(book: &Path, theirs: &farm::Farm, desk: &Desk) -> Result<(), Fault> {
    let wait = desk.settings.wait_for_book.value;
    // A damaged book is what a copy is for, so an unreadable one is no reason to refuse.
    let Ok(ours) = StockBook::open(book, wait).and_then(|mut file| file.read(farm::get)) else {
        return Ok(());
    };
    if ours.id == theirs.id {
        return Ok(());
    }
    Err(Fault::refused(
        format!(
            "That copy is the book of {}, and the one here is the book of {}.",
            theirs.name, ours.name
        ),
        "To open it beside this one: spareloop --book FILE ...",
    ))
}
