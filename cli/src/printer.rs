//! The one printer: data to standard output, talk to standard error, one JSON object on `--json`.

use std::io::{self, IsTerminal, Write};

use serde::Serialize;
use serde_json::{Map, Value, json};

use crate::fault::{Exit, Fault};

/// The version of every JSON object that this program prints.
pub const JSON_VERSION: u64 = 1;

/// What a command answers.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// Names the shape of the data, as `"lot-list"`.
    pub kind: &'static str,
    /// For people; may change from version to version.
    pub text: String,
    /// For programs: the contract.
    pub data: Value,
    /// How the program exits: nearly always [`Exit::Done`].
    pub exit: Exit,
    /// Whether the text is printed whatever the format.
    pub wrapping: Wrapping,
}

/// Whether an answer is wrapped in the versioned object on `--json`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wrapping {
    /// It is.
    Wrapped,
    /// The text is JSON, a script or a manual page already and is printed as it is.
    AsItIs,
}

impl Answer {
    /// An answer with a text for people and data for programs.
    pub fn new(kind: &'static str, text: impl Into<String>, data: impl Serialize) -> Self {
        // Our own views of strings, numbers and lists always serialise.
        let data = serde_json::to_value(data).unwrap_or(Value::Null);
        Self { kind, text: text.into(), data, exit: Exit::Done, wrapping: Wrapping::Wrapped }
    }

    /// The same answer under another exit code.
    #[must_use]
    pub fn exiting(mut self, exit: Exit) -> Self {
        self.exit = exit;
        self
    }

    /// An answer that is printed as it is.
    pub fn as_it_is(kind: &'static str, text: impl Into<String>) -> Self {
        Self { wrapping: Wrapping::AsItIs, ..Self::new(kind, text, Value::Null) }
    }

    /// The one versioned object.
    pub fn to_json(&self) -> Value {
        let mut object = Map::new();
        object.insert("spareloop".into(), JSON_VERSION.into());
        object.insert("kind".into(), self.kind.into());
        match &self.data {
            Value::Object(fields) => object.extend(fields.clone()),
            Value::Null => {}
            other => {
                object.insert("data".into(), other.clone());
            }
        }
        Value::Object(object)
    }
}

/// For people or for programs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// Text.
    Text,
    /// One JSON object.
    Json,
}

/// Whether talk may be coloured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Colour {
    /// Plain.
    Plain,
    /// With colour.
    Coloured,
}

impl Colour {
    /// Coloured only on a terminal that doesn't refuse it (`NO_COLOR`).
    pub fn of_standard_error() -> Self {
        let refused = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
        if !refused && io::stderr().is_terminal() { Self::Coloured } else { Self::Plain }
    }
}

/// Prints answers, talk and faults.
pub struct Printer<'a> {
    /// For people or programs.
    pub format: Format,
    /// Whether talk may be coloured.
    pub colour: Colour,
    /// Data.
    pub out: &'a mut dyn Write,
    /// Talk.
    pub err: &'a mut dyn Write,
}

impl Printer<'_> {
    /// Prints an answer. A closed pipe is the reader's choice and no error.
    pub fn answer(&mut self, answer: &Answer) -> io::Result<()> {
        let format = match answer.wrapping {
            Wrapping::AsItIs => Format::Text,
            Wrapping::Wrapped => self.format,
        };
        let printed = match format {
            Format::Text if answer.text.is_empty() => Ok(()),
            Format::Text => writeln!(self.out, "{}", answer.text.trim_end()),
            Format::Json => writeln!(self.out, "{}", answer.to_json()),
        };
        match printed.and_then(|()| self.out.flush()) {
            Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
            other => other,
        }
    }

    /// Prints a fault to standard error: the last line is the one to act on.
    pub fn fault(&mut self, fault: &Fault) {
        let printed = match self.format {
            Format::Json => writeln!(
                self.err,
                "{}",
                json!({
                    "spareloop": JSON_VERSION,
                    "kind": "fault",
                    "what": fault.what,
                    "kept": fault.kept,
                    "hint": fault.hint,
                    "exit": fault.exit.code(),
                })
            ),
            Format::Text => {
                let (bold, plain) = match self.colour {
                    Colour::Coloured => ("\u{1b}[1m", "\u{1b}[0m"),
                    Colour::Plain => ("", ""),
                };
                let kept = fault.kept.as_ref().map(|kept| format!("{kept}\n")).unwrap_or_default();
                writeln!(self.err, "{}\n{kept}{bold}{}{plain}", fault.what, fault.hint)
            }
        };
        // Where even standard error is gone, the exit code still tells.
        drop(printed);
    }
}

/// "1 entry", "12 entries".
pub fn entries(count: u64) -> String {
    if count == 1 { "1 entry".to_owned() } else { format!("{count} entries") }
}

/// Lays rows out in columns, two spaces apart; numbers to the right.
pub fn table(headers: &[&str], rows: &[Vec<String>]) -> String {
    let width = |column: usize| {
        rows.iter()
            .filter_map(|row| row.get(column))
            .map(String::as_str)
            .chain(headers.get(column).copied())
            .map(|cell| cell.chars().count())
            .max()
            .unwrap_or(0)
    };
    let widths: Vec<usize> = (0..headers.len()).map(width).collect();
    let is_number = |cell: &str| !cell.is_empty() && cell.chars().all(|c| c.is_ascii_digit());
    let line = |cells: &mut dyn Iterator<Item = &str>| {
        let mut text = String::new();
        for (cell, width) in cells.zip(&widths) {
            let gap = " ".repeat(width - cell.chars().count().min(*width));
            let padded =
                if is_number(cell) { format!("{gap}{cell}") } else { format!("{cell}{gap}") };
            text.push_str(&padded);
            text.push_str("  ");
        }
        text.trim_end().to_owned()
    };
    let mut lines = vec![line(&mut headers.iter().copied())];
    lines.extend(rows.iter().map(|row| line(&mut row.iter().map(String::as_str))));
    lines.join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_are_as_wide_as_their_widest_cell_and_numbers_stand_to_the_right() {
        let rows =
            [vec!["Été".to_owned(), "7".to_owned()], vec!["Moss".to_owned(), "120".to_owned()]];
        assert_eq!(
            table(&["variety", "count"], &rows),
            "variety  count\nÉté          7\nMoss       120"
        );
    }

    #[test]
    fn an_answer_is_one_object_that_says_its_version_and_kind() {
        let answer = Answer::new("lot", "text", json!({ "code": "7KQ4M" }));
        assert_eq!(answer.to_json(), json!({ "spareloop": 1, "kind": "lot", "code": "7KQ4M" }));
    }
}
