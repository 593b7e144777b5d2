//! A grower at the keyboard: the real binary over a book of its own in a folder of its own.
#![allow(dead_code, clippy::unwrap_used, clippy::expect_used, missing_docs, unreachable_pub)]

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use serde_json::Value;
use tempfile::TempDir;

/// The day on which the tests' growers work.
pub const TODAY: &str = "2026-03-20";

pub struct Keyboard {
    folder: TempDir,
}

#[derive(Debug)]
pub struct Said {
    pub exit: i32,
    pub out: String,
    pub err: String,
}

impl Said {
    /// The answer of a command that had to succeed.
    #[track_caller]
    pub fn done(self) -> String {
        assert_eq!(self.exit, 0, "{}\n{}", self.out, self.err);
        self.out
    }

    /// The one object of a command that had to succeed.
    #[track_caller]
    pub fn json(self) -> Value {
        serde_json::from_str(&self.done()).unwrap()
    }

    /// Everything that was said, for a snapshot.
    pub fn all(&self) -> String {
        let shown = |name: &str, text: &str| {
            if text.is_empty() { String::new() } else { format!("--- {name}\n{text}") }
        };
        format!("exit {}\n{}{}", self.exit, shown("data", &self.out), shown("talk", &self.err))
    }
}

impl Keyboard {
    /// An empty folder.
    pub fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    /// A farm whose book is begun.
    pub fn of_a_farm() -> Self {
        let keyboard = Self::new();
        let words =
            ["farm", "init", "--name", "Test Holm", "--device", "lap", "--planting", "2026-05-10"];
        keyboard.run(&words).done();
        keyboard
    }

    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    pub fn book(&self) -> PathBuf {
        self.folder().join("book.sqlite")
    }

    /// Writes a file beside the book.
    pub fn file(&self, name: &str, content: impl AsRef<[u8]>) -> String {
        let path = self.folder().join(name);
        std::fs::write(&path, content).unwrap();
        path.to_str().unwrap().to_owned()
    }

    pub fn command(&self, program: &str) -> Command {
        let mut command = Command::new(program);
        command
            .env_clear()
            .env("HOME", self.folder())
            .env("PATH", "/usr/bin:/bin")
            .env("SPARELOOP_BOOK", self.book())
            .env("SPARELOOP_TODAY", TODAY)
            .env("SPARELOOP_WAIT_FOR_BOOK", "20")
            .current_dir(self.folder());
        command
    }

    pub fn spareloop(&self) -> Command {
        self.command(env!("CARGO_BIN_EXE_spareloop"))
    }

    pub fn run(&self, words: &[&str]) -> Said {
        said(self.spareloop().args(words), "")
    }

    /// Runs with something on standard input.
    pub fn run_on(&self, words: &[&str], input: &str) -> Said {
        said(self.spareloop().args(words), input)
    }

    /// Notes opening stock of a new variety and answers the lot's code.
    #[track_caller]
    pub fn lot(&self, variety: &str, count: u32, on: &str) -> String {
        self.run(&["variety", "add", variety, "--on", on]).done();
        let count = count.to_string();
        let words = ["lot", "opening", variety, "--count", &count, "--on", on, "--json"];
        code(&self.run(&words).json(), 0)
    }
}

/// The code of the nth lot that an answer made.
pub fn code(answer: &Value, nth: usize) -> String {
    answer["lots"][nth]["code"].as_str().unwrap().to_owned()
}

pub fn said(command: &mut Command, input: &str) -> Said {
    let mut child = command
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // A command that refuses its arguments may be gone before it reads.
    let _ = child.stdin.take().unwrap().write_all(input.as_bytes());
    let output = child.wait_with_output().unwrap();
    Said {
        exit: output.status.code().unwrap_or(-1),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// Snapshots with what differs from run to run left out.
pub fn filtered(work: impl FnOnce()) {
    let mut settings = insta::Settings::clone_current();
    settings.set_prepend_module_to_snapshot(true);
    settings.add_filter(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}", "[id]");
    settings.add_filter(r"/tmp/\.tmp\w+", "[folder]");
    settings.add_filter(r"\b[34679ACDEFGHJKMNPQRTWXY]{5}\b", "[code]");
    settings.add_filter(r"  [0-9a-f]{8}  ", "  [entry]  ");
    settings.add_filter(r"session [0-9a-f]{6}\b", "session [code]");
    settings.bind(work);
}
