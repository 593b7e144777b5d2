//! `spareloop-server`: everything is in the library.

use std::process::ExitCode;

fn main() -> ExitCode {
    spareloop_server::run::main()
}
