//! `config`: settings, and which one won.

use clap::Subcommand;
use serde_json::json;

use crate::desk::Desk;
use crate::fault::Fault;
use crate::printer::Answer;
use crate::settings::PROJECT_FILE;

/// What can be done about settings.
#[derive(Debug, Subcommand)]
pub enum Config {
    /// Show every setting with where it came from.
    #[command(after_help = "\
Example: spareloop config explain
A flag wins over the environment, that over spareloop.toml in this folder, that over the user's
file, that over the default. A file may hold: book = \"...\", timeout_seconds = 30,
wait_for_book_seconds = 5")]
    Explain,
}

/// Runs it.
pub fn run(command: Config, desk: &Desk) -> Result<Answer, Fault> {
    let Config::Explain = command;
    let settings = &desk.settings;
    let rows = [
        ("book", settings.book.value.display().to_string(), settings.book.source.to_string()),
        ("today", settings.today.value.to_string(), settings.today.source.to_string()),
        (
            "timeout",
            format!("{} s", settings.timeout.value.as_secs()),
            settings.timeout.source.to_string(),
        ),
        (
            "wait for book",
            format!("{} s", settings.wait_for_book.value.as_secs()),
            settings.wait_for_book.source.to_string(),
        ),
    ];
    let mut lines: Vec<String> = rows
        .iter()
        .map(|(name, value, source)| format!("{name}: {value}   (from {source})"))
        .collect();
    let user = settings
        .user_file
        .as_ref()
        .map_or_else(|| "no user's file".to_owned(), |path| format!("then {}", path.display()));
    lines.push(format!("Files looked for: {PROJECT_FILE} here, {user}."));
    let data: Vec<_> = rows
        .iter()
        .map(|(name, value, source)| json!({ "name": name, "value": value, "source": source }))
        .collect();
    Ok(Answer::new("config", lines.join("\n"), json!({ "settings": data })))
}
