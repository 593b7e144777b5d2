//! The program `spareloop`: all of it is in the library.

use std::io;
use std::process::ExitCode;

fn main() -> ExitCode {
    let exit = spareloop_cli::run(std::env::args_os(), &mut io::stdout().lock(), &mut io::stderr());
    ExitCode::from(exit.code())
}
