//! `sync`: send and fetch entries; what the server refused.

use clap::{Args, Subcommand};
use serde_json::json;
use spareloop_api::problem::ProblemCode;
use spareloop_domain::ledger::describe::describe;

use crate::book::parked::{self, Parked};
use crate::book::{NOTHING_NOTED, StockBook, entries, error_sentence};
use crate::desk::Desk;
use crate::fault::{Exit, Fault};
use crate::fresh;
use crate::printer::{self, Answer};
use crate::sync::{self, Done};

/// Send and fetch entries; works again whenever the network does.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  spareloop sync
  spareloop sync parked
  spareloop sync retry 3
Offline is the normal case: everything is kept here, exit 6 says that the server was out of reach.
What the server refuses is set aside and shown; what stands behind it goes on.")]
pub struct Sync {
    #[command(subcommand)]
    what: Option<What>,
}

/// What the server refused.
#[derive(Debug, Subcommand)]
enum What {
    /// What was refused and set aside: why, and what to do about it.
    #[command(after_help = "Example: spareloop sync parked")]
    Parked,
    /// Note what was set aside again, so that the next sync sends it: after an update, say.
    #[command(after_help = "Examples:\n  spareloop sync retry\n  spareloop sync retry 3")]
    Retry {
        /// Its number, as `spareloop sync parked` shows it; unless told, all of them.
        numbers: Vec<i64>,
    },
}

/// Runs it.
pub fn run(it: Sync, desk: &Desk) -> Result<Answer, Fault> {
    match it.what {
        None => exchange(desk),
        Some(What::Parked) => list_parked(desk),
        Some(What::Retry { numbers }) => retry(&numbers, desk),
    }
}

fn exchange(desk: &Desk) -> Result<Answer, Fault> {
    let mut file = desk.file()?;
    let done = sync::run(desk, &mut file).map_err(|fault| kept_here(fault, &mut file))?;
    let waiting = file.read(parked::waiting)?.len() as u64;
    let exit = if done.refused.is_empty() && done.acts_refused.is_empty() {
        Exit::Done
    } else {
        Exit::Refused
    };
    Ok(Answer::new(
        "sync",
        lines(&done, waiting).join("\n"),
        json!({
            "sent": done.sent,
            "fetched": done.fetched,
            "said": done.said,
            "refused": done.refused,
            "set_aside": waiting,
            "acts_done": done.acts_done,
            "acts_refused": done.acts_refused,
        }),
    )
    .exiting(exit))
}

fn lines(done: &Done, waiting: u64) -> Vec<String> {
    let (sent, fetched) = (printer::entries(done.sent), printer::entries(done.fetched));
    let mut lines = vec![format!("{sent} sent, {fetched} fetched.")];
    lines.extend(done.said.iter().cloned());
    lines.extend(done.refused.iter().cloned());
    lines.extend(done.acts_done.iter().map(|said| format!("Sent now: {said}.")));
    lines.extend(done.acts_refused.iter().map(|said| format!("Refused: {said}")));
    if waiting > 0 {
        let waiting = printer::entries(waiting);
        lines.push(format!("Set aside: {waiting}. Why, and what to do: spareloop sync parked"));
    }
    lines
}

/// "Kept here", with how much waits; a sync is many transactions, of which only the last failed.
fn kept_here(fault: Fault, file: &mut StockBook) -> Fault {
    if fault.kept.as_deref() == Some(NOTHING_NOTED) {
        return fault.keeping("What was sent and fetched before is kept; the next sync goes on.");
    }
    if !matches!(fault.exit, Exit::Away | Exit::SignIn) {
        return fault;
    }
    match sync::unsent(file) {
        Ok((unsent, _)) => {
            let waits = if unsent == 1 { "waits" } else { "wait" };
            fault.keeping(format!("Kept here: {} {waits} to be sent.", printer::entries(unsent)))
        }
        Err(_) => fault,
    }
}

fn list_parked(desk: &Desk) -> Result<Answer, Fault> {
    let mut opened = desk.open()?;
    let waiting = opened.file.read(parked::waiting)?;
    if waiting.is_empty() {
        return Ok(Answer::new("parked", "Nothing is set aside.", json!({ "parked": [] })));
    }
    let mut lines =
        vec!["Refused by the server. They are kept here and don't count in the book:".to_owned()];
    for one in &waiting {
        let says = describe(&opened.book, &one.entry);
        let why = error_sentence(&one.detail);
        lines.push(format!("{:>3}  {}  {says}", one.number, one.entry.on));
        lines.push(format!("     Why: {why}"));
        lines.push(format!("     Then: {}", what_to_do(one)));
    }
    let data: Vec<_> = waiting
        .iter()
        .map(|one| {
            json!({
                "number": one.number,
                "entry": one.entry,
                "says": describe(&opened.book, &one.entry),
                "code": one.code,
                "why": one.detail,
                "then": what_to_do(one),
            })
        })
        .collect();
    Ok(Answer::new("parked", lines.join("\n"), json!({ "parked": data })))
}

fn what_to_do(one: &Parked) -> String {
    let code: Option<ProblemCode> = serde_json::from_value(json!(one.code)).ok();
    let again = format!("spareloop sync retry {}", one.number);
    match code {
        Some(ProblemCode::BrokenChain) => format!(
            "it was changed after it was made, perhaps by a failing disk: look at this device with spareloop doctor. If what it says is right: {again}"
        ),
        Some(ProblemCode::WrongFarm) => {
            "it speaks for another farm. If it happened here, note it anew.".to_owned()
        }
        Some(ProblemCode::TooLarge) => {
            "no server takes one so large. Note it anew with fewer words.".to_owned()
        }
        Some(ProblemCode::DeviceUnknown) => {
            format!("ask the one who runs the server about this farm's devices, then: {again}")
        }
        _ => format!(
            "if it happened, note it anew. A newer version of this program or of the server may take it as it is: {again}"
        ),
    }
}

fn retry(numbers: &[i64], desk: &Desk) -> Result<Answer, Fault> {
    let noted = desk.file()?.write(desk.keep, |connection| {
        let waiting = parked::waiting(connection)?;
        if let Some(number) =
            numbers.iter().find(|wanted| waiting.iter().all(|one| one.number != **wanted))
        {
            return Err(Fault::refused(
                format!("Nothing is set aside under the number {number}."),
                "See what is: spareloop sync parked",
            ));
        }
        let chosen =
            waiting.into_iter().filter(|one| numbers.is_empty() || numbers.contains(&one.number));
        let mut drafts = Vec::new();
        for one in chosen {
            parked::noted_again(connection, &one)?;
            // Another device may have brought the same fact home meanwhile.
            if entries::find(connection, one.entry.id)?.is_none() {
                drafts.push(sync::as_written(one.entry));
            }
        }
        let noted = entries::append(connection, drafts, fresh::wall_millis())?;
        Ok::<_, Fault>(noted.len() as u64)
    })?;
    let text = match noted {
        0 => "Nothing had to be noted again.".to_owned(),
        noted => {
            format!(
                "{} noted again, under the same ids.\nNext: spareloop sync",
                printer::entries(noted)
            )
        }
    };
    Ok(Answer::new("retried", text, json!({ "noted_again": noted })))
}
