//! `attest key`: the farm's keys on this device.

use clap::{Args, Subcommand};
use serde_json::json;
use spareloop_domain::attest::{IntroducedBy, KeyId, KeyRecord, Second};

use crate::attest::own::{self, OwnKeys};
use crate::attest::shelf;
use crate::book::{Keep, farm, link};
use crate::desk::Desk;
use crate::fault::{Exit, Fault};
use crate::fresh;
use crate::printer::{Answer, table};

/// What can be done about keys.
#[derive(Debug, Subcommand)]
pub enum Key {
    /// Make the first key on this device.
    #[command(after_help = "\
Example: spareloop attest key new
The secret half lies beside the stock book, for your eyes only, and is in no copy and no export. If
it is lost, what it signed still holds: make another. If somebody else may have it: withdraw it.")]
    New,
    /// Keys of this farm, and of the others that are known here.
    #[command(after_help = "Example: spareloop attest key list")]
    List,
    /// Make the next key; the one before vouches for it and signs no more.
    #[command(after_help = "Example: spareloop attest key rotate")]
    Rotate,
    /// Withdraw a key: what it signed before still holds, nothing after.
    #[command(after_help = "Example: spareloop attest key withdraw KEY")]
    Withdraw(Withdraw),
}

/// Withdraws.
#[derive(Debug, Args)]
pub struct Withdraw {
    /// The key's id, or its first characters.
    // One id in 64 begins with a hyphen (base64url).
    #[arg(allow_hyphen_values = true)]
    key: String,
}

/// Runs it.
pub(super) fn run(command: Key, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Key::New => make(Occasion::First, desk),
        Key::List => list(desk),
        Key::Rotate => make(Occasion::Next, desk),
        Key::Withdraw(it) => withdraw(&it, desk),
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Occasion {
    First,
    Next,
}

fn make(occasion: Occasion, desk: &Desk) -> Result<Answer, Fault> {
    let mut file = desk.file()?;
    let book = file.path().to_owned();
    // The book's write lock, so that two programs at once don't each forget the other's key.
    let record = file.write(desk.keep, |connection| {
        let farm = farm::get(connection)?.id;
        let mut own = own::read(&book)?;
        match (occasion, own.current()?) {
            (Occasion::First, Some((key, _))) => {
                return Err(Fault::refused(
                    format!("This device signs with the key {} already.", key.record.id().short()),
                    "For another one in its place: spareloop attest key rotate",
                ));
            }
            (Occasion::Next, None) => return Err(super::no_key()),
            (Occasion::First, None) | (Occasion::Next, Some(_)) => {}
        }
        let record = own.make(farm)?.clone();
        if desk.keep == Keep::Kept {
            own::write(&book, &own)?;
        }
        Ok::<_, Fault>(record)
    })?;
    if desk.keep == Keep::Rehearsed {
        return Ok(Answer::new("key", "Would make a key (--dry-run).", json!({ "kept": false })));
    }
    let id = record.id();
    let path = own::path_beside(&book);
    let text = format!(
        "Made the key {}.\nIts secret half stays on this device, in {}; it is in no copy of the book. \
         Others can compare its id with you: {id}",
        id.short(),
        path.display()
    );
    finish(desk, &mut file, text, &record)
}

/// Makes what changed known, if the farm is connected.
fn finish(
    desk: &Desk,
    file: &mut crate::book::StockBook,
    text: String,
    record: &KeyRecord,
) -> Result<Answer, Fault> {
    let (more, exit) = if file.read(link::find)?.is_none() {
        ("It becomes known when the farm joins a network.".to_owned(), Exit::Done)
    } else {
        match crate::sync::run(desk, file) {
            Ok(_) => ("The network knows.".to_owned(), Exit::Done),
            Err(fault) if matches!(fault.exit, Exit::Away | Exit::SignIn) => {
                (format!("Kept here; the next sync makes it known: {}", fault.what), fault.exit)
            }
            Err(fault) => return Err(fault),
        }
    };
    Ok(Answer::new(
        "key",
        format!("{text}\n{more}"),
        json!({ "kept": true, "key": record.id(), "record": record }),
    )
    .exiting(exit))
}

fn list(desk: &Desk) -> Result<Answer, Fault> {
    let mut file = desk.file()?;
    let farm = file.read(farm::get)?;
    let (own, shelf) = (own::read(file.path())?, shelf::read(file.path())?);
    let keys = shelf.keys_with(&own);
    let signing = own.current()?.map(|(key, _)| key.record.id());
    let rows: Vec<Vec<String>> = keys
        .iter()
        .map(|record| {
            let name =
                if record.farm == farm.id { farm.name.clone() } else { shelf.name_of(record.farm) };
            vec![
                record.id().short(),
                name,
                record.made_at.date().to_string(),
                standing(record, &own, signing.as_ref()),
                introduced(record, &keys),
            ]
        })
        .collect();
    let text = if rows.is_empty() {
        "No key is known here. To make one: spareloop attest key new".to_owned()
    } else {
        table(&["key", "farm", "made", "", "known by"], &rows)
    };
    let data: Vec<_> = keys
        .iter()
        .map(|record| json!({ "id": record.id(), "record": record, "signs": Some(record.id()) == signing }))
        .collect();
    Ok(Answer::new("key-list", text, json!({ "keys": data })))
}

fn standing(record: &KeyRecord, own: &OwnKeys, signing: Option<&KeyId>) -> String {
    if let Some(at) = record.withdrawn_at {
        return format!("withdrawn {}", at.date());
    }
    if Some(&record.id()) == signing {
        "signs on this device".to_owned()
    } else if own.keys.iter().any(|own| own.record.key == record.key) {
        "signs no more".to_owned()
    } else {
        "elsewhere".to_owned()
    }
}

fn introduced(record: &KeyRecord, keys: &[KeyRecord]) -> String {
    match record.check(keys) {
        Ok(IntroducedBy::Itself) => "itself: compare its id with the farm".to_owned(),
        Ok(IntroducedBy::Earlier(key)) => format!("the key {} of the farm", key.short()),
        Err(error) => format!("nobody, don't rely on it: {error}"),
    }
}

/// The key of the farm that a person named.
fn find(keys: &[KeyRecord], text: &str) -> Result<KeyRecord, Fault> {
    let wanted: String = text.split_whitespace().collect();
    let mut found = keys.iter().filter(|record| record.id().as_str().starts_with(&wanted));
    match (wanted.len() >= 4, found.next(), found.next()) {
        (true, Some(record), None) => Ok(record.clone()),
        _ => Err(Fault::refused(
            format!("{text:?} names no key of this farm, or more than one."),
            "See them: spareloop attest key list",
        )),
    }
}

fn withdraw(it: &Withdraw, desk: &Desk) -> Result<Answer, Fault> {
    let mut file = desk.file()?;
    let farm = file.read(farm::get)?.id;
    let book = file.path().to_owned();
    let (own, shelf) = (own::read(&book)?, shelf::read(&book)?);
    let mut keys = shelf.keys_with(&own);
    keys.retain(|record| record.farm == farm);
    let record = find(&keys, &it.key)?;
    let id = record.id();
    if record.withdrawn_at.is_some() {
        return Err(Fault::refused(
            format!("The key {} is withdrawn already.", id.short()),
            "See them: spareloop attest key list",
        ));
    }
    if desk.keep == Keep::Rehearsed {
        let text = format!("Would withdraw the key {} (--dry-run).", id.short());
        return Ok(Answer::new("key", text, json!({ "kept": false })));
    }
    desk.ask.consent(&format!(
        "Withdraw the key {}? What it signed before still holds; it signs nothing more.",
        id.short()
    ))?;
    let withdrawn = note_withdrawn(&book, own, record)?;
    let text = format!(
        "Withdrawn: the key {}. What it signed before still holds.\nTo go on signing: spareloop attest \
         key new",
        id.short()
    );
    finish(desk, &mut file, text, &withdrawn)
}

/// Its secret half is thrown away; a key of another device is withdrawn by its record alone.
fn note_withdrawn(
    book: &std::path::Path,
    mut own: OwnKeys,
    mut record: KeyRecord,
) -> Result<KeyRecord, Fault> {
    record.withdrawn_at = Some(Second::of_millis(fresh::wall_millis()));
    match own.keys.iter_mut().find(|own| own.record.key == record.key) {
        Some(key) => {
            key.record.withdrawn_at = record.withdrawn_at;
            key.secret = None;
        }
        None => own.keys.insert(0, own::OwnKey { record: record.clone(), secret: None }),
    }
    own::write(book, &own)?;
    Ok(record)
}
