//! The grower's own program: the stock book on this device, offline first.
//!
//! ```text
//! args       what may be written on a command line
//! settings   resolved once, before a command runs
//! attest     this device's keys for signing, and what farms stated, kept for offline
//! demo       the whole job with an invented winter
//! desk       what every command works at; `note` is the one way into the ledger
//! commands   one module a noun
//! export     spreadsheets and the whole book out
//! journal    what was noted, by whom, struck out by whom
//! import     spreadsheets in: read, columns, dates, preview, write
//! sync       the plan of `domain` carried out against a server
//! remote     signed-in calls to the network
//! book       the file: SQLite through diesel
//! printer    data to standard output, talk to standard error
//! ```
//!
//! What may not enter: rules of the trade (`domain` has them), the wire's types (`api` has them).

pub mod args;
pub mod ask;
pub mod attest;
pub mod book;
pub mod commands;
pub mod demo;
pub mod desk;
pub mod export;
pub mod fault;
pub mod find;
pub mod fresh;
pub mod import;
pub mod journal;
pub mod printer;
pub mod remote;
pub mod settings;
pub mod sync;

use std::ffi::OsString;
use std::io::Write;

use clap::error::ErrorKind;

use crate::args::Program;
use crate::ask::{Ask, Asking, Consent};
use crate::book::Keep;
use crate::desk::Desk;
use crate::fault::{Exit, Fault};
use crate::printer::{Answer, Colour, Format, Printer};
use crate::settings::{Flags, Settings};

/// Runs one command line and answers the exit code.
pub fn run(
    arguments: impl IntoIterator<Item = OsString>,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Exit {
    let arguments: Vec<OsString> = arguments.into_iter().collect();
    // A line that can't be read can't be asked for its format, so the words themselves are.
    let wanted = if arguments.iter().take_while(|word| *word != "--").any(|word| word == "--json") {
        Format::Json
    } else {
        Format::Text
    };
    let program = match Program::read(arguments) {
        Ok(program) => program,
        Err(error) => return written_wrong(&error, wanted, out, err),
    };
    let format = if program.global.json { Format::Json } else { Format::Text };
    let mut printer = Printer { format, colour: Colour::of_standard_error(), out, err };
    match answer(program) {
        Ok(answer) => match printer.answer(&answer) {
            Ok(()) => answer.exit,
            Err(error) => {
                printer.fault(&Fault::failed(
                    format!("The answer can't be written: {error}."),
                    "What the command noted is kept. Make room and ask again.",
                ));
                Exit::Failed
            }
        },
        Err(fault) => {
            printer.fault(&fault);
            fault.exit
        }
    }
}

fn answer(program: Program) -> Result<Answer, Fault> {
    let global = &program.global;
    let flags = Flags { book: global.book.clone(), timeout: global.timeout };
    let settings = Settings::resolve(&flags, &|name| std::env::var(name).ok())?;
    let asking = if global.no_input { Asking::Never } else { Asking::of_terminal() };
    let consent = if global.yes { Consent::Given } else { Consent::ToAsk };
    let keep = if global.dry_run { Keep::Rehearsed } else { Keep::Kept };
    let format = if global.json { Format::Json } else { Format::Text };
    let desk = Desk { settings, ask: Ask { asking, consent }, keep, format };
    commands::run(program.command, &desk)
}

/// Help goes to standard output; a wrong command line to standard error. A value that a rule
/// refuses (a negative count, a day that isn't one) is refused input, not wrong usage.
fn written_wrong(
    error: &clap::Error,
    format: Format,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Exit {
    let text = error.render();
    if matches!(error.kind(), ErrorKind::DisplayHelp | ErrorKind::DisplayVersion) {
        return match write!(out, "{text}").and_then(|()| out.flush()) {
            // A closed pipe is the reader's choice.
            Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => Exit::Failed,
            _ => Exit::Done,
        };
    }
    let exit = match error.kind() {
        ErrorKind::ValueValidation => Exit::Refused,
        _ => Exit::Usage,
    };
    match format {
        Format::Text => drop(write!(err, "{text}")),
        Format::Json => {
            let text = text.to_string();
            let what = text.lines().next().unwrap_or_default().trim_start_matches("error: ");
            let hint = "See the command's --help.";
            let fault = match exit {
                Exit::Refused => Fault::refused(what, hint),
                _ => Fault::usage(what, hint),
            };
            Printer { format, colour: Colour::Plain, out, err }.fault(&fault);
        }
    }
    exit
}
