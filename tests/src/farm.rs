//! A farm at the keyboard: the real `spareloop` over a book of its own.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use serde_json::Value;

use spareloop_api::people::Secret;

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
    /// Runs a command to its end.
    pub fn of(command: &mut Command) -> Self {
        let output = command.output().expect("spareloop runs");
        Self {
            exit: output.status.code().unwrap_or(-1),
            out: String::from_utf8_lossy(&output.stdout).into_owned(),
            err: String::from_utf8_lossy(&output.stderr).into_owned(),
        }
    }

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

/// Waits for programs that were begun; each has to succeed.
#[track_caller]
pub fn all_succeed(running: Vec<Child>) {
    for child in running {
        let ended = child.wait_with_output().expect("spareloop ran");
        assert!(ended.status.success(), "{}", String::from_utf8_lossy(&ended.stderr));
    }
}

impl Device {
    /// A device whose book lies in `folder`.
    pub fn in_folder(folder: &Path) -> Self {
        std::fs::create_dir_all(folder).expect("a folder");
        Self { book: folder.join("book.sqlite"), home: folder.to_owned() }
    }

    /// A device of a new farm whose book is begun.
    pub fn of_a_farm(folder: &Path, name: &str) -> Self {
        let device = Self::in_folder(folder);
        let words = ["farm", "init", "--name", name, "--device", "laptop"];
        device.run(&[&words[..], &["--planting", "2026-05-10"]].concat()).done();
        device
    }

    /// Notes opening stock of a new variety and answers the lot's code.
    #[track_caller]
    pub fn lot(&self, variety: &str, count: u32) -> String {
        let count = count.to_string();
        self.run(&["variety", "add", variety, "--on", "2025-11-02"]).done();
        let words = ["lot", "opening", variety, "--count", &count, "--on", "2025-11-02", "--json"];
        let made = self.run(&words).json();
        made["lots"][0]["code"].as_str().expect("a lot's code").to_owned()
    }

    /// Notes units of a lot lost to rot.
    #[track_caller]
    pub fn lose(&self, lot: &str, count: u32) {
        let count = count.to_string();
        self.run(&["lot", "lose", lot, "--count", &count, "--cause", "rot"]).done();
    }

    /// Offers units of a lot and answers the offer's id.
    #[track_caller]
    pub fn offer(&self, lot: &str, count: u32) -> String {
        let count = count.to_string();
        let made = self.run(&["offer", "make", lot, "--count", &count, "--json"]).json();
        made["offer"]["offer"].as_str().expect("an offer").to_owned()
    }

    /// What the book says is in store of a lot.
    #[track_caller]
    pub fn in_store(&self, lot: &str) -> u64 {
        let shown = self.run(&["lot", "show", lot, "--json"]).json();
        shown["lot"]["in_store"].as_u64().expect("a count")
    }

    /// Every entry, one JSON object each, chain by chain.
    #[track_caller]
    pub fn entries(&self) -> Vec<Value> {
        let exported = self.run(&["export"]).done();
        exported.lines().map(|line| serde_json::from_str(line).expect("an entry")).collect()
    }

    /// The device's own id.
    #[track_caller]
    pub fn id(&self) -> String {
        let shown = self.run(&["farm", "show", "--json"]).json();
        shown["device"].as_str().expect("an id").to_owned()
    }

    /// A copy of everything on this device, as of a disk put into another machine.
    #[must_use]
    pub fn cloned_to(&self, folder: &Path) -> Self {
        let clone = Self::in_folder(folder);
        for file in std::fs::read_dir(&self.home).expect("a folder").flatten() {
            if file.file_type().is_ok_and(|kind| kind.is_file()) {
                std::fs::copy(file.path(), folder.join(file.file_name())).expect("a copy");
            }
        }
        clone
    }

    /// What opens the server for this device: the secrets that lie beside its book.
    #[track_caller]
    pub fn device_token(&self) -> Secret {
        let path = self.home.join("book.sqlite.keys");
        let text = std::fs::read_to_string(path).expect("a connected device has keys");
        let keys: Value = serde_json::from_str(&text).expect("keys");
        Secret(keys["device_token"].as_str().expect("a token").to_owned())
    }

    /// Sends and fetches; answers what was done.
    #[track_caller]
    pub fn sync(&self) -> Value {
        self.run(&["sync", "--json"]).json()
    }

    /// Writes a file beside the book and answers its path.
    pub fn file(&self, name: &str, content: impl AsRef<[u8]>) -> String {
        let path = self.home.join(name);
        std::fs::write(&path, content).expect("a file");
        path.to_str().expect("a plain path").to_owned()
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

    /// Begins a command that waits for the book as long as others work on it.
    pub fn begin(&self, words: &[&str]) -> Child {
        let mut command = self.command(words);
        command.env("SPARELOOP_WAIT_FOR_BOOK", "60").stdout(Stdio::null());
        command.stderr(Stdio::piped()).spawn().expect("spareloop runs")
    }

    /// Runs a command without questions.
    pub fn run(&self, words: &[&str]) -> Said {
        Said::of(self.command(words).arg("--no-input"))
    }
}
