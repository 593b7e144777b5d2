//! `completions` and `man`, made from the same arguments that are parsed.

use clap::Args;
use clap_complete::Shell;

use crate::args::Program;
use crate::fault::Fault;
use crate::printer::Answer;

/// A completion script for a shell.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: spareloop completions bash > ~/.local/share/bash-completion/completions/spareloop"
)]
pub struct Completions {
    /// Which shell.
    shell: Shell,
}

/// The manual page.
#[derive(Debug, Args)]
#[command(after_help = "Example: spareloop man > spareloop.1")]
pub struct Man {}

/// Makes the script.
pub fn completions(it: Completions) -> Answer {
    let mut script = Vec::new();
    clap_complete::generate(it.shell, &mut Program::line(), "spareloop", &mut script);
    Answer::as_it_is("completions", String::from_utf8_lossy(&script))
}

/// Makes the page: the program, then every command.
pub fn man(_: Man) -> Result<Answer, Fault> {
    let mut page = Vec::new();
    let mut program = Program::line();
    program.build();
    render(&program, &mut page).map_err(|error| {
        Fault::failed(format!("The page can't be made: {error}."), "Use --help.")
    })?;
    Ok(Answer::as_it_is("man", String::from_utf8_lossy(&page)))
}

fn render(command: &clap::Command, page: &mut Vec<u8>) -> std::io::Result<()> {
    clap_mangen::Man::new(command.clone()).render(page)?;
    command.get_subcommands().try_for_each(|inner| render(inner, page))
}
