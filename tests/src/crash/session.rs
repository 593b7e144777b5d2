//! A grower's session, command by command, each a process of its own: the states between the
//! commands are kept, so that any command can be struck again and again.

use std::path::Path;

use tempfile::TempDir;

use super::standing::Standing;
use super::strace::{ChildOf, recorded};
use super::tally::Wrong;
use super::trace::{self, Did};
use crate::farm::{Device, Said};

/// What the same command does when it is given once more.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Again {
    /// It is refused.
    IsRefused,
    /// It is done, and the book stays as it is.
    ChangesNothing,
    /// It notes something more, so nobody gives it again who sees that it is done.
    NotesMore,
}

/// A command and the states of the book around it.
pub struct Step {
    /// As typed.
    pub words: Vec<String>,
    /// What it does when given once more.
    pub again: Again,
    /// The book before it.
    pub before: Standing,
    /// The book after it.
    pub after: Standing,
    /// What it did to the book's folder, if the session was recorded.
    pub did: Vec<Did>,
    /// The device before it.
    home: TempDir,
}

/// Whether what the commands do to their files is recorded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Recording {
    /// It is.
    On,
    /// It isn't.
    Off,
}

impl Step {
    /// A device as it was before the command.
    pub fn device(&self, folder: &Path) -> Device {
        Device::in_folder(self.home.path()).cloned_to(folder)
    }

    /// Its words.
    pub fn words(&self) -> Vec<&str> {
        self.words.iter().map(String::as_str).collect()
    }

    /// Whether it changes what the book says; a copy doesn't.
    pub fn notes_something(&self) -> bool {
        self.before != self.after
    }

    /// Which of the two states the book stands in; anything else is half of something.
    pub fn is_done(&self, device: &Device) -> Result<bool, Wrong> {
        let standing = Standing::of(device)?;
        if standing == self.after {
            Ok(true)
        } else if standing == self.before {
            Ok(false)
        } else {
            Err(Wrong::Inconsistent(format!("neither before nor after: {standing:?}")))
        }
    }
}

/// What a small stock sheet holds.
const STOCK: &str = "variety,count,lot\nMoss Anthem,5,L1\nMoss Anthem,7,L2\nHeron Blush,9,L3\n";
/// The name of a copy of the book.
pub const COPY: &str = "copy.sqlite";

fn lot_of(device: &Device, unit: &str) -> String {
    let listed = device.run(&["lot", "list", "--json"]).json();
    let lots = listed["lots"].as_array().expect("lots");
    let lot = lots.iter().find(|lot| lot["unit"] == unit).expect("a lot of that unit");
    lot["code"].as_str().expect("a code").to_owned()
}

fn run(device: &Device, words: &[&str], recording: Recording) -> Vec<Did> {
    if recording == Recording::Off {
        device.run(words).done();
        return Vec::new();
    }
    let folder = tempfile::tempdir().expect("a folder");
    let log = folder.path().join("log");
    let mut command = device.command(words);
    command.arg("--no-input");
    Said::of(&mut recorded(&command, &log, ChildOf::Strace)).done();
    let text = std::fs::read_to_string(&log).expect("a log");
    trace::read(&text, device.book().parent().expect("a folder"))
}

/// Plays the session once, unharmed.
pub fn session(recording: Recording) -> Vec<Step> {
    use Again::{ChangesNothing, IsRefused, NotesMore};
    let home = tempfile::tempdir().expect("a folder");
    let device = Device::in_folder(home.path());
    let mut steps = Vec::new();
    let mut play = |words: &[&str], again: Again| {
        let kept = tempfile::tempdir().expect("a folder");
        let _ = device.cloned_to(kept.path());
        let before = Standing::of(&device).expect("whole");
        let did = run(&device, words, recording);
        let after = Standing::of(&device).expect("whole");
        let words = words.iter().map(|&word| word.to_owned()).collect();
        steps.push(Step { words, again, before, after, did, home: kept });
    };
    let begin = ["farm", "init", "--name", "Ashlode", "--device", "laptop"];
    play(&[&begin[..], &["--planting", "2026-05-10"]].concat(), IsRefused);
    play(&["variety", "add", "Ember Lantern", "--on", "2025-11-02"], NotesMore);
    let words = ["lot", "lift", "Ember Lantern", "--clumps", "10", "--on", "2025-11-02"];
    play(&words, NotesMore);
    let clumps = lot_of(&device, "clump");
    let words = ["lot", "divide", &clumps, "--clumps", "9", "--sound", "30", "--not-yet-eyed", "5"];
    play(&[&words[..], &["--discard", "rot=3", "--on", "2025-11-20"]].concat(), NotesMore);
    let divisions = lot_of(&device, "division");
    let look = ["check", "add", &divisions, "--inspected", "5", "--sound", "4", "--rot", "1"];
    play(&[&look[..], &["--sample"]].concat(), NotesMore);
    play(&["undo"], NotesMore);
    device.file("stock.csv", STOCK);
    play(&["import", "stock", "stock.csv", "--yes"], ChangesNothing);
    play(&["backup", "make", COPY], IsRefused);
    steps
}
