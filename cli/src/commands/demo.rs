//! `demo`: the whole job with an invented winter.

use std::path::PathBuf;

use clap::Args;

use crate::demo::{self, Afterwards};
use crate::fault::Fault;
use crate::printer::Answer;

/// Runs the whole job with invented farms.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  spareloop demo
  spareloop demo --keep
Starts the program spareloop-server that lies beside this one, on loopback, in a temporary folder.
Touches no stock book of yours. All farms, varieties and figures are invented.")]
pub struct Demo {
    /// Leave the server running, with a sign-in to look around.
    #[arg(long)]
    keep: bool,
    /// The server's program, if it doesn't lie beside this one.
    #[arg(long, value_name = "FILE")]
    server: Option<PathBuf>,
}

/// Runs it.
pub fn run(it: &Demo) -> Result<Answer, Fault> {
    let afterwards = if it.keep { Afterwards::Keep } else { Afterwards::Clear };
    demo::run(afterwards, it.server.as_deref())
}
