//! `export`: every entry, one JSON object a line.

use clap::Args;
use serde_json::json;

use crate::desk::Desk;
use crate::fault::Fault;
use crate::printer::Answer;

/// Every entry of the stock book, one JSON object a line, chain by chain, with its hash.
#[derive(Debug, Args)]
#[command(after_help = "Example: spareloop export > stock-book.jsonl")]
pub struct Export {}

/// Runs it.
pub fn run(_: Export, desk: &Desk) -> Result<Answer, Fault> {
    let opened = desk.open()?;
    let lines = opened
        .entries
        .iter()
        .map(serde_json::to_string)
        .collect::<Result<Vec<_>, _>>()
        .map_err(|error| {
            Fault::failed(format!("An entry can't be written: {error}."), "Run: spareloop doctor")
        })?;
    Ok(Answer::new("export", lines.join("\n"), json!({ "entries": opened.entries })))
}
