//! `demo`: the whole job, told as it happens, with an invented winter.
//!
//! ```text
//! cast    the twelve invented farms and their spreadsheets (cli/demo/, embedded)
//! stage   the server that lies beside this program, on loopback, and a folder for it all
//! grower  one farm at its own keyboard: this very program, run with a book of its own
//! story   the job, step by step: import, forecast, offer, want, match, hold, hand over, receive, lose
//! told    the account of it in sentences
//! ```
//!
//! What may not enter: a short cut. Every figure of the account comes out of a command's answer or
//! out of the server's.

mod cast;
mod grower;
mod stage;
mod story;
mod told;

use serde_json::json;

use crate::fault::Fault;
use crate::printer::Answer;
use stage::Stage;

pub use stage::Afterwards;

/// The day on which the growers of the demo work; their winter is 2025/26.
const TODAY: &str = "2026-03-20";

/// Everybody's pass phrase in the demo; the server listens on loopback alone.
const PASS_PHRASE: &str = "an invented winter in the cellar";

/// Runs the job and tells it.
pub fn run(afterwards: Afterwards, server: Option<&std::path::Path>) -> Result<Answer, Fault> {
    let mut stage = Stage::set(server)?;
    let played = story::play(&stage)?;
    let mut account = told::account(&played);
    let signed_in = match afterwards {
        Afterwards::Clear => {
            stage.clear();
            account.push_str("\nAll of it is removed again; --keep leaves the server running.");
            None
        }
        Afterwards::Keep => {
            let kept = stage.keep();
            account.push_str(&told::to_look_around(&kept));
            Some(json!({ "server": kept.url, "process": kept.process, "folder": kept.folder,
                "coordinator": "coordinator", "growers": played.logins(), "pass_phrase": PASS_PHRASE }))
        }
    };
    Ok(Answer::new("demo", account, json!({ "story": played, "kept": signed_in })))
}
