//! `import book`: what is shown and asked before a whole stock book is taken in.
//!
//! A new book is made in one transaction and is gone again if the file turns out not whole. A book
//! that is there is only added to, after a preview. What may not enter: how the lines are taken
//! ([`super::ledger`]).

use std::fs::{self, File};
use std::io::{self, BufRead, BufReader};
use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::json;

use super::ledger::{Into, OnDevice, Taken, take_in};
use crate::ask::{Asking, Consent};
use crate::book::{Keep, StockBook, farm};
use crate::desk::Desk;
use crate::fault::{Exit, Fault};
use crate::printer::{Answer, entries};

/// A whole stock book.
#[derive(Debug, Args)]
#[command(after_long_help = "\
Examples:
  spareloop import book heron-hill.jsonl --device 'new laptop'
  spareloop --book heron-hill.sqlite import book heron-hill.jsonl --same-device
Where there is no stock book yet, one is made with everything in the file. Where there is one of the
same farm, what it lacks is shown first and then added; nothing in it is changed or replaced. The
book of another farm is refused. A file that was cut short or changed is refused whole.

Give --same-device only if the machine that wrote the file notes nothing any more: two machines that
write under one name would part ways. The sign-in to a network is not in the file:
spareloop farm connect")]
pub struct BookFile {
    /// The file, or - for standard input.
    file: PathBuf,
    /// What this device is called in a new book.
    #[arg(long, value_name = "NAME")]
    device: Option<String>,
    /// Go on as the device that wrote the file.
    #[arg(long, conflicts_with = "device")]
    same_device: bool,
}

/// What is where the book should be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum There {
    /// Nothing.
    Nothing,
    /// A book that no farm was written into.
    NoFarm,
    /// A farm's book.
    Book,
}

/// Runs it.
pub fn run(it: &BookFile, desk: &Desk) -> Result<Answer, Fault> {
    match there(desk)? {
        There::Book => {
            if it.same_device {
                return Err(Fault::usage(
                    "There is a stock book here, and it has its own device already.",
                    "Leave --same-device out to add to it, or name a new book with --book FILE.",
                ));
            }
            into_same_farm(it, desk)
        }
        there => into_new_book(it, desk, there),
    }
}

fn there(desk: &Desk) -> Result<There, Fault> {
    if !desk.settings.book.value.exists() {
        return Ok(There::Nothing);
    }
    let farm = desk.file()?.read(farm::find)?;
    Ok(farm.map_or(There::NoFarm, |_| There::Book))
}

fn opened(path: &Path) -> Result<Box<dyn BufRead>, Fault> {
    if path == Path::new("-") {
        return Ok(Box::new(BufReader::new(io::stdin())));
    }
    let file = File::open(path).map_err(|error| {
        Fault::refused(
            format!("{} can't be read: {error}.", path.display()),
            "Check the file's name, or give - for standard input.",
        )
        .keeping("Nothing was written.")
    })?;
    Ok(Box::new(BufReader::new(file)))
}

fn into_new_book(it: &BookFile, desk: &Desk, there: There) -> Result<Answer, Fault> {
    let mut reader = opened(&it.file)?;
    let on = if it.same_device {
        OnDevice::Same
    } else {
        let question = "What is this device called?";
        let name = desk.ask.text_or(it.device.clone(), question, "this device")?;
        OnDevice::New(crate::commands::farm::checked_name("A device's name", &name)?)
    };
    let into = Into::NewBook(on);
    let settings = &desk.settings;
    let path = match desk.keep {
        Keep::Kept => settings.book.value.clone(),
        // A rehearsal leaves no file behind where there was none.
        Keep::Rehearsed => beside(&settings.book.value, ".rehearsal"),
    };
    let taken = StockBook::open_or_create(&path, settings.wait_for_book.value)
        .map_err(Fault::from)
        .and_then(|mut file| {
            file.write(desk.keep, |connection| take_in(connection, &mut reader, &into))
        });
    if desk.keep == Keep::Rehearsed || (taken.is_err() && there == There::Nothing) {
        remove(&path);
    }
    let taken = taken?;
    let what = if desk.keep == Keep::Kept { "has" } else { "would have (--dry-run)" };
    let mut lines = vec![format!(
        "{} {what} a stock book at {} with all {} of the file.",
        taken.farm,
        settings.book.value.display(),
        entries(taken.entries)
    )];
    if taken.waiting > 0 {
        lines.push(format!("Waits to be sent to the network: {}.", taken.waiting));
    }
    lines.push("Next: spareloop status".to_owned());
    Ok(answer(it, desk, &taken, lines.join("\n")))
}

fn beside(book: &Path, ending: &str) -> PathBuf {
    let mut name = book.file_name().unwrap_or_default().to_owned();
    name.push(ending);
    book.with_file_name(name)
}

/// Takes a book's file away that this command made and that holds nothing.
fn remove(book: &Path) {
    for ending in ["", "-wal", "-shm"] {
        // What can't be removed holds no farm, and the next import goes into it.
        drop(fs::remove_file(beside(book, ending)));
    }
}

fn into_same_farm(it: &BookFile, desk: &Desk) -> Result<Answer, Fault> {
    // Standard input can be read only once, and nobody is there to ask.
    let at_once = desk.ask.consent == Consent::Given && desk.keep == Keep::Kept;
    let taken = take(it, desk, if at_once { Keep::Kept } else { Keep::Rehearsed })?;
    let text = preview(it, &taken);
    if taken.is_nothing_new() {
        return Ok(answer(it, desk, &taken, format!("{text}\nNothing to write.")));
    }
    if at_once {
        return Ok(answer(it, desk, &taken, format!("{text}\nWritten.")));
    }
    if desk.keep == Keep::Rehearsed {
        let text = format!("{text}\nNothing was written (--dry-run).");
        return Ok(answer(it, desk, &taken, text));
    }
    if desk.ask.asking == Asking::Never || it.file == Path::new("-") {
        let last = "Nothing was written yet. To write it, give the command again with --yes.";
        let shown = answer(it, desk, &taken, format!("{text}\n{last}"));
        return Ok(shown.exiting(Exit::Decision));
    }
    desk.ask.consent(&format!("{text}\nAdd this to the stock book?"))?;
    let taken = take(it, desk, Keep::Kept)?;
    Ok(answer(it, desk, &taken, format!("{text}\nWritten.")))
}

fn take(it: &BookFile, desk: &Desk, keep: Keep) -> Result<Taken, Fault> {
    let mut reader = opened(&it.file)?;
    desk.file()?.write(keep, |connection| take_in(connection, &mut reader, &Into::SameFarm))
}

fn preview(it: &BookFile, taken: &Taken) -> String {
    let mut lines = vec![format!(
        "{}: the book of {}, {}: {} new, {} in the book already.",
        it.file.display(),
        taken.farm,
        entries(taken.entries),
        taken.new,
        taken.known
    )];
    if taken.again > 0 {
        lines.push(format!(
            "{} stand at places that others took meanwhile: noted again under this device, each counts once.",
            taken.again
        ));
    }
    if taken.new_device_id {
        lines.push(
            "This device takes a new id, since the file goes on where its own entries end."
                .to_owned(),
        );
    }
    if taken.others > 0 {
        lines.push(format!(
            "{} other rows are new: set aside entries, what imports remember.",
            taken.others
        ));
    }
    if taken.waiting_there > 0 {
        lines.push(format!(
            "{} acts wait to be sent on the device that wrote the file, and stay there.",
            taken.waiting_there
        ));
    }
    lines.join("\n")
}

fn answer(it: &BookFile, desk: &Desk, taken: &Taken, text: String) -> Answer {
    Answer::new(
        "import-book",
        text,
        json!({ "file": it.file, "book": desk.settings.book.value, "brought": taken }),
    )
}
