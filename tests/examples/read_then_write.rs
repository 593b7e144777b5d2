//! The server with one mistake in it: asking for a hold reads what is free and then writes what is
//! left, as a shared spreadsheet does. The checker of histories has to reject what it does.
//!
//! It is an example of this crate, and the switch is behind a feature that only this crate's tests
//! turn on, so that no build that anybody ships can be told to do this.

use std::process::ExitCode;

fn main() -> ExitCode {
    spareloop_store::planted::read_then_write();
    spareloop_server::run::main()
}
