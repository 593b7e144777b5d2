//! What may be written on a command line, beyond each noun's own.

use std::path::PathBuf;

use clap::{Args, Parser};

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
spareloop.toml here, then the user's file; see spareloop config explain. With --json the answer is one
object on standard output with \"spareloop\": 1 and a kind; what went wrong is one on standard error.";

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

/// What holds for every command.
// Flags of a command line are bools by nature; they become enums before they reach a function.
#[allow(clippy::struct_excessive_bools)]
#[derive(Debug, Args)]
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
