//! One farm at its own keyboard: this very program, run with a book of its own.

use std::path::PathBuf;
use std::process::Command;

use serde::de::DeserializeOwned;
use serde_json::Value;

use super::cast::Part;
use super::stage::Stage;
use super::{PASS_PHRASE, TODAY};
use crate::fault::Fault;

/// A farm of the demo.
pub(super) struct Grower {
    /// The farm's name.
    pub name: &'static str,
    /// The name it signs in with.
    pub login: String,
    folder: PathBuf,
}

impl Grower {
    /// Begins the farm's book and imports its sheets; answers how many entries they made.
    pub(super) fn begin(stage: &Stage, part: &'static Part) -> Result<Self, Fault> {
        let login = part.name.to_lowercase();
        let folder = stage.folder.join(&login);
        std::fs::create_dir_all(&folder).map_err(no_room)?;
        let grower = Self { name: part.name, login, folder };
        grower.run(&[
            "farm",
            "init",
            "--name",
            part.name,
            "--device",
            "laptop",
            "--planting",
            "2026-05-10",
        ])?;
        for sheet in part.sheets {
            let file = grower.folder.join(format!("{}.csv", sheet.kind));
            std::fs::write(&file, sheet.bytes).map_err(no_room)?;
            let file = file.to_string_lossy().into_owned();
            let mut words = vec!["import", sheet.kind, file.as_str()];
            words.extend(part.date_order.iter().flat_map(|order| ["--date-order", order]));
            grower.run(&words)?;
        }
        Ok(grower)
    }

    /// Joins the network by invitation and sends the book.
    pub(super) fn connect(&self, stage: &Stage, invitation: &str) -> Result<(), Fault> {
        self.run(&[
            "farm",
            "connect",
            "--server",
            &stage.url,
            "--invite",
            invitation,
            "--login",
            &self.login,
            "--display-name",
            self.name,
        ])?;
        self.run(&["sync"]).map(drop)
    }

    /// Runs a command and reads one field of its answer.
    pub(super) fn ask<T: DeserializeOwned>(&self, words: &[&str], field: &str) -> Result<T, Fault> {
        let mut answer = self.run(words)?;
        let value = answer.get_mut(field).map_or(Value::Null, Value::take);
        serde_json::from_value(value).map_err(|error| {
            Fault::failed(
                format!(
                    "{}: {} answered something unexpected: {error}.",
                    self.name,
                    words.join(" ")
                ),
                "This is a fault of the program: report it with the account above.",
            )
        })
    }

    /// Runs a command and answers its JSON object.
    pub(super) fn run(&self, words: &[&str]) -> Result<Value, Fault> {
        let program = std::env::current_exe().map_err(no_room)?;
        let output = Command::new(program)
            .args(words)
            .args(["--json", "--no-input", "--yes"])
            .env("SPARELOOP_BOOK", self.folder.join("book.sqlite"))
            .env("SPARELOOP_TODAY", TODAY)
            .env("SPARELOOP_PASSWORD", PASS_PHRASE)
            .current_dir(&self.folder)
            .output()
            .map_err(no_room)?;
        if output.status.success() {
            return Ok(serde_json::from_slice(&output.stdout).unwrap_or(Value::Null));
        }
        Err(Fault::failed(
            format!(
                "{}: `spareloop {}` did not do what the story needs:\n{}",
                self.name,
                words.join(" "),
                String::from_utf8_lossy(&output.stderr).trim()
            ),
            "This is a fault of the program: report it with the account above.",
        ))
    }
}

fn no_room(error: std::io::Error) -> Fault {
    Fault::failed(
        format!("The demo can't write or start what it needs: {error}."),
        "Make room in the temporary folder, then run the demo again.",
    )
}
