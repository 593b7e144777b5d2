//! `sync`: send and fetch entries.

use clap::Args;
use serde_json::json;

use crate::desk::Desk;
use crate::fault::{Exit, Fault};
use crate::printer::{Answer, entries};
use crate::sync;

/// Send and fetch entries; works again whenever the network does.
#[derive(Debug, Args)]
#[command(after_help = "\
Example: spareloop sync
Offline is the normal case: everything is kept here, exit 6 says that the server was out of reach.
What the server refuses is set aside and shown; what stands behind it goes on.")]
pub struct Sync {}

/// Runs it.
pub fn run(_: Sync, desk: &Desk) -> Result<Answer, Fault> {
    let mut file = desk.file()?;
    let done = sync::run(desk, &mut file).map_err(|fault| kept_here(fault, &mut file))?;
    let mut lines =
        vec![format!("{} sent, {} fetched.", entries(done.sent), entries(done.fetched))];
    lines.extend(done.said.iter().cloned());
    lines.extend(done.refused.iter().cloned());
    lines.extend(done.acts_done.iter().map(|said| format!("Sent now: {said}.")));
    lines.extend(done.acts_refused.iter().map(|said| format!("Refused: {said}")));
    let exit = if done.refused.is_empty() && done.acts_refused.is_empty() {
        Exit::Done
    } else {
        Exit::Refused
    };
    Ok(Answer::new(
        "sync",
        lines.join("\n"),
        json!({
            "sent": done.sent,
            "fetched": done.fetched,
            "said": done.said,
            "refused": done.refused,
            "acts_done": done.acts_done,
            "acts_refused": done.acts_refused,
        }),
    )
    .exiting(exit))
}

/// "Kept here", with how much waits.
fn kept_here(fault: Fault, file: &mut crate::book::StockBook) -> Fault {
    if !matches!(fault.exit, Exit::Away | Exit::SignIn) {
        return fault;
    }
    match sync::unsent(file) {
        Ok((unsent, _)) => {
            let waits = if unsent == 1 { "waits" } else { "wait" };
            fault.keeping(format!("Kept here: {} {waits} to be sent.", entries(unsent)))
        }
        Err(_) => fault,
    }
}
