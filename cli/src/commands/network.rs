//! `owed` and `messages`: what the network says to the farm.

use clap::Args;
use serde_json::json;
use spareloop_api::client::Client;

use crate::desk::Desk;
use crate::fault::Fault;
use crate::printer::{Answer, table};
use crate::remote::{Session, call_fault};

/// Who is owed how much swap value, in tenths of a median division.
#[derive(Debug, Args)]
#[command(after_help = "Example: spareloop owed")]
pub struct Owed {}

/// What the farm was told, newest first.
#[derive(Debug, Args)]
#[command(after_help = "Example: spareloop messages")]
pub struct Messages {}

/// A number of tenths with its sign: "+1.5", "-0.3".
fn tenths(value: i64) -> String {
    let sign = match value.signum() {
        1 => "+",
        -1 => "-",
        _ => "",
    };
    let size = value.unsigned_abs();
    format!("{sign}{}.{}", size / 10, size % 10)
}

/// Shows the owed book.
pub fn owed(_: Owed, desk: &Desk) -> Result<Answer, Fault> {
    let mut session = Session::open(desk)?;
    let book = session.call(Client::owed).map_err(call_fault)?;
    let rows: Vec<Vec<String>> = book
        .balances
        .iter()
        .map(|line| vec![line.farm.name.clone(), tenths(line.owed_tenths)])
        .collect();
    let text = if rows.is_empty() {
        "Nobody is owed anything yet.".to_owned()
    } else {
        format!(
            "{}\n\nIn median divisions: + is owed, - owes; the network's sum is 0.",
            table(&["farm", "owed"], &rows)
        )
    };
    Ok(Answer::new("owed", text, json!(book)))
}

/// Shows the messages.
pub fn messages(_: Messages, desk: &Desk) -> Result<Answer, Fault> {
    let mut session = Session::open(desk)?;
    let messages = session.call(Client::messages).map_err(call_fault)?;
    let lines: Vec<String> = messages
        .messages
        .iter()
        .map(|message| format!("{}  {}", message.at.format("%Y-%m-%d %H:%M"), message.text))
        .collect();
    let text = if lines.is_empty() { "No messages.".to_owned() } else { lines.join("\n") };
    Ok(Answer::new("messages", text, json!(messages)))
}

#[cfg(test)]
mod tests {
    use super::tenths;

    #[test]
    fn tenths_are_written_with_their_sign() {
        assert_eq!(
            [tenths(15), tenths(-3), tenths(0), tenths(-120)],
            ["+1.5", "-0.3", "0.0", "-12.0"]
        );
    }
}
