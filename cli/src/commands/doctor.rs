//! `doctor`: a report to paste when something is wrong; it holds no secrets.

use clap::Args;
use serde_json::json;
use spareloop_api::client::Client;

use crate::book::{BookError, acts, farm, keys, link, parked};
use crate::desk::Desk;
use crate::fault::{Exit, Fault};
use crate::printer::Answer;
use crate::remote::Session;

/// A report to paste when something is wrong; it holds no secrets.
#[derive(Debug, Args)]
#[command(after_help = "Example: spareloop doctor\nAdd --offline to leave the server out.")]
pub struct Doctor {
    /// Leave the server out.
    #[arg(long)]
    offline: bool,
}

/// Runs it.
pub fn run(it: Doctor, desk: &Desk) -> Result<Answer, Fault> {
    let mut findings = vec![
        ("version", env!("CARGO_PKG_VERSION").to_owned()),
        ("system", format!("{} {}", std::env::consts::OS, std::env::consts::ARCH)),
        ("today", desk.settings.today.value.to_string()),
        ("book", desk.settings.book.value.display().to_string()),
    ];
    let mut wrong = Vec::new();
    match desk.open() {
        Ok(mut opened) => {
            let (device, retired, link, parked, waiting) = opened.file.read(|connection| {
                Ok::<_, BookError>((
                    farm::device(connection)?,
                    farm::retired_devices(connection)?,
                    link::find(connection)?,
                    parked::waiting(connection)?,
                    acts::waiting(connection)?,
                ))
            })?;
            findings.push(("farm", opened.farm.id.to_string()));
            findings.push(("device", device.id.to_string()));
            findings.push(("earlier device ids", retired.len().to_string()));
            findings.push(("entries", opened.entries.len().to_string()));
            match opened.file.verify() {
                Ok(_) => {
                    findings.push(("file", "every page, seal, hash and chain holds".to_owned()));
                }
                Err(error) => wrong.push(format!("file: {}", Fault::from(error))),
            }
            for problem in &opened.book.problems {
                wrong.push(format!("book: {}", problem.what));
            }
            for aside in &parked {
                findings.push((
                    "set aside",
                    format!("{} of {}: {}", aside.entry.kind, aside.entry.on, aside.detail),
                ));
            }
            findings.push(("acts waiting", waiting.len().to_string()));
            let server = link.map_or_else(
                || "not connected".to_owned(),
                |link| format!("{}, read up to {}", link.server, link.cursor),
            );
            findings.push(("server", server));
            let held = keys::read(opened.file.path())?;
            let has = |there: bool| if there { "kept" } else { "none" };
            findings.push(("device token", has(held.device_token.is_some()).to_owned()));
            findings.push(("sign-in", has(held.refresh_token.is_some()).to_owned()));
        }
        Err(fault) => wrong.push(fault.to_string()),
    }
    if !it.offline {
        match Session::open(desk) {
            Ok(mut session) => match session.call(Client::me) {
                Ok(me) => findings.push(("signed in as", me.login)),
                Err(error) => wrong.push(format!("server: {error}")),
            },
            Err(fault) => findings.push(("network", fault.what)),
        }
    }
    let mut lines: Vec<String> =
        findings.iter().map(|(name, value)| format!("{name}: {value}")).collect();
    lines.extend(wrong.iter().map(|what| format!("WRONG  {what}")));
    lines.push(if wrong.is_empty() {
        "Nothing is wrong that could be seen.".to_owned()
    } else {
        "Look into the lines marked WRONG; nothing was changed.".to_owned()
    });
    let exit = if wrong.is_empty() { Exit::Done } else { Exit::Failed };
    let data: Vec<_> =
        findings.iter().map(|(name, value)| json!({ "name": name, "value": value })).collect();
    Ok(Answer::new("doctor", lines.join("\n"), json!({ "findings": data, "wrong": wrong }))
        .exiting(exit))
}
