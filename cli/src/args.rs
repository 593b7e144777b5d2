//! What may be written on a command line, beyond each noun's own.

use std::ffi::OsString;
use std::path::PathBuf;

use clap::error::Error;
use clap::{Args, Command as Line, CommandFactory, FromArgMatches, Parser};

use crate::commands::Command;

const EXAMPLES: &str = "\
Begin:
  spareloop farm init --name 'Heron Hill' --device 'laptop in the house'
  spareloop import stock autumn.csv
  spareloop import checks checks.csv

Through the winter:
  spareloop status
  spareloop check add 7KQ4M --inspected 40 --sound 38 --rot 2
  spareloop forecast

With the network:
  spareloop farm connect --server https://loop.example --invite CODE --login ada
  spareloop sync
  spareloop offer make 7KQ4M --count 8
";

const AFTER: &str = "\
Exit codes: 0 done, 1 failed, 2 wrong usage, 3 input refused, 4 sign-in needed, 5 a decision is
needed, 6 server out of reach and work kept here, 130 interrupted.

Lots are named by the 5-character code on the tuber, or by id; varieties by name, whatever the case,
accents or quotes. Every command works without a server but those that speak to the network.
Settings: flag, then environment (SPARELOOP_BOOK, SPARELOOP_TIMEOUT, SPARELOOP_WAIT_FOR_BOOK), then
spareloop.toml here, then the user's file; see spareloop config explain. With --json the answer is
one object on standard output with \"spareloop\": 1 and a kind; what went wrong is one on standard error.";

/// The stock book of a small dahlia farm: what is there, what will survive, what is spare.
#[derive(Debug, Parser)]
#[command(name = "spareloop", version, before_long_help = EXAMPLES, after_long_help = AFTER)]
#[command(propagate_version = true)]
pub struct Program {
    /// What holds for every command.
    #[command(flatten)]
    pub global: Global,
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// What is said of a command before how it is called: help is the manual, examples first.
const EXAMPLES_FIRST: &str =
    "{before-help}{about}{after-help}\n\n{usage-heading} {usage}\n\n{all-args}";

impl Program {
    /// Every command with its help as people see it.
    pub fn line() -> Line {
        Self::command().mut_subcommands(examples_first)
    }

    /// Reads a command line.
    pub fn read(arguments: impl IntoIterator<Item = OsString>) -> Result<Self, Error> {
        let mut line = Self::line();
        let matches = line.try_get_matches_from_mut(arguments)?;
        Self::from_arg_matches(&matches).map_err(|error| error.format(&mut line))
    }
}

fn examples_first(line: Line) -> Line {
    line.help_template(EXAMPLES_FIRST).mut_subcommands(examples_first)
}

/// What holds for every command.
// Flags of a command line are bools by nature; they become enums before they reach a function.
#[allow(clippy::struct_excessive_bools)]
#[derive(Debug, Args)]
#[command(next_help_heading = "For every command")]
pub struct Global {
    /// The stock book's file.
    #[arg(long, global = true, value_name = "FILE")]
    pub book: Option<PathBuf>,
    /// Answer with one JSON object.
    #[arg(long, global = true, overrides_with = "json")]
    pub json: bool,
    /// Do everything but write.
    #[arg(long, global = true, overrides_with = "dry_run")]
    pub dry_run: bool,
    /// Agree beforehand to what would be asked.
    #[arg(long, global = true, overrides_with = "yes")]
    pub yes: bool,
    /// Never ask; exit 5 and name the flag instead.
    #[arg(long, global = true, overrides_with = "no_input")]
    pub no_input: bool,
    /// Seconds that the server may take to answer.
    #[arg(long, global = true, value_name = "SECONDS")]
    pub timeout: Option<u64>,
}

#[cfg(test)]
mod tests {
    use clap::Command as Line;

    use super::Program;

    /// The widest line that clap leaves alone where there is no terminal to ask.
    const WIDEST: usize = 100;

    fn commands(line: &Line, path: &str, seen: &mut Vec<(String, Line)>) {
        for inner in line.get_subcommands() {
            let path = format!("{path} {}", inner.get_name());
            seen.push((path.clone(), inner.clone()));
            commands(inner, &path, seen);
        }
    }

    fn every_command() -> Vec<(String, Line)> {
        let mut seen = Vec::new();
        commands(&Program::line(), "spareloop", &mut seen);
        seen
    }

    fn said(line: &Line) -> String {
        let said = line.get_after_long_help().or_else(|| line.get_after_help());
        said.map(ToString::to_string).unwrap_or_default()
    }

    #[test]
    fn every_command_that_does_something_shows_an_example_of_itself() {
        for (path, line) in every_command() {
            let needs = line.get_subcommands().next().is_none();
            assert!(!needs || said(&line).contains(&path), "no example of {path}");
        }
    }

    /// The stock book is a ledger in code and docs; people are spared the word.
    #[test]
    fn help_speaks_in_the_growers_words() {
        for (path, mut line) in every_command() {
            let help = line.render_long_help().to_string().to_lowercase();
            for word in ["ledger", "void", "service level", "multiplication", "roll-over"] {
                let shown = help.contains(word);
                assert!(!shown, "{word:?} in the help of {path}");
            }
        }
    }

    #[test]
    fn a_key_whose_id_begins_with_a_hyphen_is_named_like_any_other() {
        for id in ["-NqYx0a1", "-1Zk", "--hQe", "NqYx0a1"] {
            let typed = ["spareloop", "attest", "key", "withdraw", id, "--yes"];
            let read = Program::line().try_get_matches_from(typed);
            let read = read.unwrap_or_else(|error| panic!("{id}: {error}"));
            let mut inner = &read;
            while let Some((_, next)) = inner.subcommand() {
                inner = next;
            }
            assert_eq!(inner.get_one::<String>("key").map(String::as_str), Some(id));
            assert!(inner.get_flag("yes"), "{id}");
        }
    }

    #[test]
    fn an_example_stands_before_the_options_and_is_not_broken_over_lines() {
        for (path, mut line) in every_command() {
            let help = line.render_long_help().to_string();
            let (first, _) = help.split_once("Usage:").unwrap_or_default();
            for text in said(&line).lines() {
                assert!(text.chars().count() <= WIDEST, "too wide in {path}: {text}");
                assert!(first.contains(text), "{path} shows after its options: {text}");
            }
        }
    }
}
