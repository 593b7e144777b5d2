//! A farm at the keyboard: the real `spareloop` over a book of its own.

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

use crate::binaries::binary;

/// The day on which the tests' growers work.
pub const TODAY: &str = "2026-03-20";
/// The password of everybody in the tests.
pub const PASSWORD: &str = "tubers under the stairs";

/// One device of a farm.
pub struct Device {
    book: PathBuf,
    home: PathBuf,
}

/// What a command said.
#[derive(Debug)]
pub struct Said {
    /// The exit code.
    pub exit: i32,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

impl Said {
    /// The answer of a command that had to succeed.
    #[track_caller]
    pub fn done(self) -> String {
        assert_eq!(self.exit, 0, "{}\n{}", self.out, self.err);
        self.out
    }

    /// The one JSON object of a command that had to succeed.
    #[track_caller]
    pub fn json(self) -> Value {
        let out = self.done();
        serde_json::from_str(&out).unwrap_or_else(|error| panic!("{error}: {out}"))
    }

    /// The talk of a command that had to end with `exit`.
    #[track_caller]
    pub fn ends_with(self, exit: i32) -> String {
        assert_eq!(self.exit, exit, "{}\n{}", self.out, self.err);
        self.err
    }
}

impl Device {
    /// A device whose book lies in `folder`.
    pub fn in_folder(folder: &Path) -> Self {
        std::fs::create_dir_all(folder).expect("a folder");
        Self { book: folder.join("book.sqlite"), home: folder.to_owned() }
    }

    /// Where the book lies.
    pub fn book(&self) -> &Path {
        &self.book
    }

    /// A command on this device, as far as its words.
    pub fn command(&self, words: &[&str]) -> Command {
        let mut command = Command::new(binary("spareloop"));
        command
            .args(words)
            .env_clear()
            .env("HOME", &self.home)
            .env("SPARELOOP_BOOK", &self.book)
            .env("SPARELOOP_TODAY", TODAY)
            .env("SPARELOOP_PASSWORD", PASSWORD)
            .current_dir(&self.home);
        command
    }

    /// Runs a command without questions.
    pub fn run(&self, words: &[&str]) -> Said {
        let output = self.command(words).arg("--no-input").output().expect("spareloop runs");
        Said {
            exit: output.status.code().unwrap_or(-1),
            out: String::from_utf8_lossy(&output.stdout).into_owned(),
            err: String::from_utf8_lossy(&output.stderr).into_owned(),
        }
    }
}
