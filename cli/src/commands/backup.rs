//! `backup`: a verified copy of the book, and back.

use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use serde_json::json;

use crate::book::{Keep, StockBook, backup, farm};
use crate::desk::Desk;
use crate::fault::Fault;
use crate::fresh;
use crate::printer::Answer;

/// What can be done about copies.
#[derive(Debug, Subcommand)]
pub enum Backup {
    /// Write a copy, and verify every entry in it. It carries no sign-in.
    #[command(after_help = "Example: spareloop backup make /media/stick/book-2026-11-25.sqlite")]
    Make(Make),
    /// Put a copy in the book's place; the replaced book is kept beside it.
    #[command(after_help = "\
Example: spareloop backup restore /media/stick/book-2026-11-25.sqlite --yes
The next sync sees that the copy is older, fetches what it lacks and takes a new device id.")]
    Restore(Restore),
}

/// Writes a copy.
#[derive(Debug, Args)]
pub struct Make {
    /// Where to; the file must not exist.
    file: PathBuf,
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
        Backup::Make(it) => make(&it.file, desk),
        Backup::Restore(it) => restore(&it.file, desk),
    }
}

fn make(target: &Path, desk: &Desk) -> Result<Answer, Fault> {
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
    let copied = desk.file()?.copy_to(target, desk.settings.wait_for_book.value)?;
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

fn restore(copy: &Path, desk: &Desk) -> Result<Answer, Fault> {
    let wait = desk.settings.wait_for_book.value;
    let verified = backup::verify(copy, wait).map_err(|error| {
        Fault::refused(
            format!(
                "{} can't be put back: {}",
                copy.display(),
                crate::book::error_sentence(&error.to_string())
            ),
            "Use another copy.",
        )
        .keeping("The book is as it was.")
    })?;
    let book = &desk.settings.book.value;
    if book.exists() {
        refuse_other_farm(book, copy, desk)?;
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
    let aside = swap_in(copy, book, desk)?;
    let kept = aside.as_ref().map_or_else(String::new, |aside| {
        format!(" The book that was there is kept as {}.", aside.display())
    });
    Ok(Answer::new(
        "restore",
        format!("The book of {} is back with {} entries.{kept}", verified.farm, verified.entries),
        json!({ "book": book, "entries": verified.entries, "aside": aside }),
    ))
}

fn refuse_other_farm(book: &Path, copy: &Path, desk: &Desk) -> Result<(), Fault> {
    let wait = desk.settings.wait_for_book.value;
    let theirs = StockBook::open(copy, wait)?.read(farm::get)?;
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

/// Copies beside the book first, so that a full disk leaves the book as it was; then swaps names.
fn swap_in(copy: &Path, book: &Path, desk: &Desk) -> Result<Option<PathBuf>, Fault> {
    let failed = |error: std::io::Error| {
        Fault::failed(
            format!("The copy can't be put in place: {error}."),
            "Check the room on the disk and who may write there, then try again.",
        )
        .keeping("The book that was there is kept.")
    };
    let named = |ending: &str| {
        let mut name = book.file_name().unwrap_or_default().to_owned();
        name.push(ending);
        book.with_file_name(name)
    };
    let incoming = named(".incoming");
    if incoming.exists() {
        std::fs::remove_file(&incoming).map_err(failed)?;
    }
    if let Some(folder) = book.parent() {
        std::fs::create_dir_all(folder).map_err(failed)?;
    }
    StockBook::open(copy, desk.settings.wait_for_book.value)?
        .copy_to(&incoming, desk.settings.wait_for_book.value)?;
    let aside = if book.exists() {
        let aside = named(&format!(".before-{}", fresh::wall_millis()));
        for ending in ["", "-wal", "-shm"] {
            let (from, mut to) = (named(ending), aside.clone().into_os_string());
            to.push(ending);
            if from.exists() {
                std::fs::rename(&from, PathBuf::from(to)).map_err(failed)?;
            }
        }
        Some(aside)
    } else {
        None
    };
    std::fs::rename(&incoming, book).map_err(failed)?;
    Ok(aside)
}
