//! What can be typed: the commands of `spareloop-server`.

use std::path::PathBuf;

use clap::{Parser, Subcommand};

use crate::config::Flags;

/// Keeps a network of farms: their ledgers, their spare and short sheet, their promises.
#[derive(Debug, Parser)]
#[command(
    name = "spareloop-server",
    version,
    before_help = "Examples:\n  \
        spareloop-server                              needs no settings; prints a set-up link\n  \
        spareloop-server --bind 0.0.0.0:8470 --public-url https://loop.example\n  \
        spareloop-server --backup-dir /safe/copies    makes a checked copy every night\n  \
        spareloop-server backup safe/network.db       a checked copy, taken while it runs\n  \
        spareloop-server restore safe/network.db      stop the server first",
    after_help = "Settings: flag over environment over spareloop-server.toml over default.\n\
        Secrets come by SPARELOOP_SECRET_FILE, SPARELOOP_SECRET, SPARELOOP_DATABASE_URL_FILE,\n\
        SPARELOOP_DATABASE_URL, SPARELOOP_SMTP_PASSWORD_FILE or SPARELOOP_SMTP_PASSWORD, never by flag.\n\
        SPARELOOP_LOG sets what is logged (warn, info, debug).\n\n\
        Exit codes: 0 done, 1 failed, 2 usage, 3 input refused, 6 server or database out of reach."
)]
pub struct Cli {
    /// Where to keep and to serve.
    #[command(flatten)]
    pub flags: Flags,
    /// What to do; `serve` unless told.
    #[command(subcommand)]
    pub command: Option<Command>,
}

/// A command.
#[derive(Debug, Clone, Default, Subcommand)]
pub enum Command {
    /// Serves until it is told to stop (the default)
    #[default]
    Serve,
    /// Writes a checked copy of the database, while the server runs or not
    #[command(after_help = "\
Examples:
  spareloop-server backup safe/network-2026-11-25.sqlite
  spareloop-server backup --drill safe/network-2026-11-25.dump
A copy of PostgreSQL is made by its own pg_dump, of the server's version or later. The copy is read
through to the last entry of every farm before it has its name. Keep it as close as the database:
it holds the hashes of passwords.")]
    Backup {
        /// The file to write; one that is there is never overwritten
        path: PathBuf,
        /// PostgreSQL: also put the copy into a scratch database and follow every chain there
        #[arg(long)]
        drill: bool,
    },
    /// Reads the whole database through to the last entry of every farm
    #[command(after_help = "Example: spareloop-server check")]
    Check,
    /// Puts a copy in the place of the database; every server on it must be stopped
    #[command(after_help = "\
Examples:
  spareloop-server restore safe/network-2026-11-25.sqlite
  spareloop-server restore --replace safe/network-2026-11-25.dump
What was there before is kept. Devices send again what the copy lacks of the farms' stock books.
Offers, wants, holds, receipts, owed postings and sign-ins made after the copy are gone: every farm
is told so on its page.")]
    Restore {
        /// The copy
        path: PathBuf,
        /// PostgreSQL: replace what is in the database, after a copy of it was made
        #[arg(long)]
        replace: bool,
    },
    /// Takes what all farms noted together now, as the server does by itself on its timetable
    #[command(after_help = "\
Example: spareloop-server together
Losses in store, emergence and yields of all farms of a network are fitted together, and each farm is
told at its next sync what all the others saw: no farm's lots, and varieties only where at least
five other farms hold them. The running server does it by itself; see --together-hours.")]
    Together,
    /// Reads one JSON document on standard input and writes one on standard output
    #[command(after_help = "\
Examples:
  spareloop-server compute round < round.json > answer.json
  spareloop-server compute round-verify < round-and-answer.json
Kinds: round, round-verify. Needs no database. Bad input: exit 3, a message that names the field,
nothing on standard output.")]
    Compute {
        /// What to compute
        kind: String,
    },
    /// Works out who swaps what with whom
    Round {
        /// What to do with a round
        #[command(subcommand)]
        command: RoundCommand,
    },
    /// Prints a new set-up link, while nobody is set up; older links stop working
    SetUpLink,
    /// Asks the running server whether it can answer
    Health,
}

/// What can be done with a round.
#[derive(Debug, Clone, Subcommand)]
pub enum RoundCommand {
    /// Runs a round from a file: progress on standard error, proposals on standard output
    #[command(after_help = "\
Examples:
  spareloop-server round run --file round.json --seconds 30
  spareloop-server round run --file round.json --answer answer.json
Control-C stops it with the best so far. The file is what `compute round` reads.")]
    Run {
        /// The round, as `compute round` reads it
        #[arg(long)]
        file: PathBuf,
        /// Stop after so many seconds, whatever the file says
        #[arg(long)]
        seconds: Option<f64>,
        /// Also write the answer, with its certificate, to this file
        #[arg(long)]
        answer: Option<PathBuf>,
    },
}
