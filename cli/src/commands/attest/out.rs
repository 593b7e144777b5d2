//! `attest export` and `attest revoke`.

use std::fs::OpenOptions;
use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::json;
use spareloop_domain::attest::{KeyRecord, Revocation, Says};
use spareloop_domain::words::StatementId;

use super::check::KeyList;
use crate::attest::own;
use crate::attest::shelf::{self, Shelf, ShelvedStatement};
use crate::book::Keep;
use crate::desk::Desk;
use crate::fault::Fault;
use crate::find;
use crate::printer::Answer;

/// Takes back.
#[derive(Debug, Args)]
pub struct Revoke {
    /// The statement's id.
    statement: StatementId,
    /// Why, in words.
    #[arg(long)]
    why: String,
}

/// Exports.
#[derive(Debug, Args)]
pub struct Export {
    /// A lot of the farm, by code or id, or one statement by its id.
    what: String,
    /// Where the signed texts go, one a line; standard output unless told.
    #[arg(long, value_name = "FILE")]
    to: Option<PathBuf>,
    /// Where the keys go that they are checked with; public halves only.
    #[arg(long, value_name = "FILE")]
    keys_to: Option<PathBuf>,
}

/// Takes a statement back by another one.
pub(super) fn revoke(it: Revoke, desk: &Desk) -> Result<Answer, Fault> {
    let mut opened = desk.book()?;
    let shelf = shelf::read(opened.file.path())?;
    let farm = opened.farm.id;
    let known =
        shelf.statements.iter().find(|one| one.farm == farm && one.statement == it.statement);
    let lot = known.ok_or_else(|| unknown(&it.statement.to_string()))?.lot;
    let says =
        Says::Revocation(Revocation { statement: it.statement, why: it.why.trim().to_owned() });
    super::sign_and_keep(desk, &mut opened.file, lot, None, says)
}

fn unknown(text: &str) -> Fault {
    Fault::refused(
        format!("This farm has made no statement {text}."),
        "See them: spareloop attest list",
    )
}

/// Writes signed texts and keys.
pub(super) fn export(it: &Export, desk: &Desk) -> Result<Answer, Fault> {
    let opened = desk.book()?;
    let path = opened.file.path().to_owned();
    let (own, mut shelf) = (own::read(&path)?, shelf::read(&path)?);
    shelf.farms.insert(opened.farm.id, opened.farm.name.clone());
    let chosen: Vec<&ShelvedStatement> = match it.what.parse::<StatementId>() {
        Ok(id) if shelf.statements.iter().any(|one| one.statement == id) => {
            shelf.statements.iter().filter(|one| one.statement == id).collect()
        }
        Ok(_) | Err(_) => {
            let lot = find::lot(&opened.book, opened.farm.id, &it.what)?;
            shelf.about(opened.farm.id, lot.id)
        }
    };
    if chosen.is_empty() {
        return Err(Fault::refused(
            format!("Nothing is stated about {}.", it.what),
            "To state something: spareloop attest make LOT --help",
        ));
    }
    let texts: String = chosen.iter().map(|one| one.kept.compact.clone() + "\n").collect();
    let list = key_list(&shelf, shelf.keys_with(&own), &chosen);
    if desk.keep == Keep::Kept {
        if let Some(file) = &it.keys_to {
            let json = serde_json::to_string_pretty(&list).unwrap_or_default();
            write_new(file, &(json + "\n"))?;
        }
        if let Some(file) = &it.to {
            write_new(file, &texts)?;
        }
    }
    let data = json!({
        "kept": desk.keep == Keep::Kept,
        "statements": chosen.iter().map(|one| &one.kept.compact).collect::<Vec<_>>(),
        "keys": list.keys,
    });
    Ok(match &it.to {
        Some(file) => {
            Answer::new("exported", format!("{} signed: {}", chosen.len(), file.display()), data)
        }
        None => Answer::new("exported", texts, data),
    })
}

/// The keys of the farms that state what is exported.
fn key_list(shelf: &Shelf, keys: Vec<KeyRecord>, chosen: &[&ShelvedStatement]) -> KeyList {
    let concerns = |farm| chosen.iter().any(|one| one.farm == farm);
    KeyList {
        spareloop_keys: 1,
        farms: shelf.farms.clone().into_iter().filter(|(farm, _)| concerns(*farm)).collect(),
        keys: keys.into_iter().filter(|record| concerns(record.farm)).collect(),
    }
}

/// A file that is there is never written over.
fn write_new(path: &Path, text: &str) -> Result<(), Fault> {
    let written = OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(path)
        .and_then(|mut file| file.write_all(text.as_bytes()).and_then(|()| file.sync_all()));
    written.map_err(|error| {
        Fault::failed(
            format!("{} can't be written: {error}.", path.display()),
            "Choose another name, or make room; a file that is there is never written over.",
        )
    })
}
