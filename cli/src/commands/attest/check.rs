//! `attest list` and `attest verify`: what is stated and whether it stands, without a network.

use std::collections::BTreeMap;
use std::io::Read;
use std::path::{Path, PathBuf};

use clap::Args;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use spareloop_domain::attest::{
    CAUTION, Checked, IntroducedBy, Kept, KeyRecord, Second, Shown, Statement, VerifyError, stated,
    tested, verify as hold, verify_all,
};
use spareloop_domain::ledger::Book;
use spareloop_domain::ledger::book::Origin as BookOrigin;
use spareloop_domain::words::{FarmId, LotId};

use crate::attest::own;
use crate::attest::shelf::{self, Shelf};
use crate::book::error_sentence;
use crate::desk::Desk;
use crate::fault::{Exit, Fault};
use crate::find;
use crate::fresh;
use crate::printer::Answer;

/// Lists.
#[derive(Debug, Args)]
pub struct List {
    /// A lot of the farm, by code or id, or another farm's by its id.
    lot: Option<String>,
}

/// Verifies.
#[derive(Debug, Args)]
pub struct Verify {
    /// Signed texts, one a line; `-` reads standard input.
    file: PathBuf,
    /// A list of keys, as `attest export --keys-to` writes it.
    #[arg(long, value_name = "FILE")]
    keys: Option<PathBuf>,
    /// The lot that they are said to be about, by its id.
    #[arg(long)]
    lot: Option<LotId>,
    /// The farm that is said to state them, by its id.
    #[arg(long)]
    farm: Option<FarmId>,
}

/// A list of keys, as it goes from farm to farm.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(super) struct KeyList {
    /// The version of this form.
    pub(super) spareloop_keys: u64,
    /// Names of farms.
    #[serde(default)]
    pub(super) farms: BTreeMap<FarmId, String>,
    /// The keys.
    pub(super) keys: Vec<KeyRecord>,
}

fn now() -> Second {
    Second::of_millis(fresh::wall_millis())
}

/// Shows what is stated.
pub(super) fn list(it: &List, desk: &Desk) -> Result<Answer, Fault> {
    let opened = desk.book()?;
    let path = opened.file.path().to_owned();
    let (own, mut shelf) = (own::read(&path)?, shelf::read(&path)?);
    shelf.farms.insert(opened.farm.id, opened.farm.name.clone());
    let keys = shelf.keys_with(&own);
    let about = match &it.lot {
        Some(text) => lots_of(text, &opened.book, opened.farm.id, &shelf)?,
        None => own_lots(&shelf, opened.farm.id),
    };
    if about.is_empty() {
        return Ok(Answer::new(
            "statement-list",
            "Nothing is stated yet. To state something: spareloop attest make LOT --help",
            json!({ "lots": [] }),
        ));
    }
    let (mut lines, mut data) = (Vec::new(), Vec::new());
    for (farm, lot) in about {
        let (text, value) = of_lot(&shelf, &keys, farm, lot);
        lines.push(text);
        data.push(value);
    }
    lines.push(CAUTION.to_owned());
    Ok(Answer::new("statement-list", lines.join("\n"), json!({ "lots": data })))
}

/// The lots of whose statements a name asks: the lot itself and, where it was received, the lot that
/// it was at the farm that gave it.
fn lots_of(
    text: &str,
    book: &Book,
    farm: FarmId,
    shelf: &Shelf,
) -> Result<Vec<(FarmId, LotId)>, Fault> {
    if let Ok(id) = text.parse::<LotId>()
        && !book.lots.contains_key(&id)
    {
        let others = shelf.statements.iter().filter(|one| one.lot == id);
        let mut farms: Vec<(FarmId, LotId)> = others.map(|one| (one.farm, id)).collect();
        farms.dedup();
        return Ok(farms);
    }
    let lot = find::lot(book, farm, text)?;
    let mut lots = vec![(farm, lot.id)];
    if let BookOrigin::Received { farm: Some(giver), lot: Some(theirs), .. } = &lot.origin {
        lots.push((*giver, *theirs));
    }
    Ok(lots)
}

fn own_lots(shelf: &Shelf, farm: FarmId) -> Vec<(FarmId, LotId)> {
    let mut lots: Vec<(FarmId, LotId)> = Vec::new();
    for one in shelf.statements.iter().filter(|one| one.farm == farm) {
        if !lots.contains(&(farm, one.lot)) {
            lots.push((farm, one.lot));
        }
    }
    lots
}

fn of_lot(shelf: &Shelf, keys: &[KeyRecord], farm: FarmId, lot: LotId) -> (String, Value) {
    let name = shelf.name_of(farm);
    let on_shelf = shelf.about(farm, lot);
    let kept: Vec<Kept> = on_shelf.iter().map(|one| one.kept.clone()).collect();
    let shown = Shown { farm: Some(farm), lot: Some(lot), now: now() };
    let checked = verify_all(&kept, &shown, keys);
    let tested = tested(checked.iter().filter_map(|one| one.outcome.as_ref().ok()));
    let mut lines = vec![format!("Lot {} of {name}. {}", lot.code(), tested.sentence())];
    if checked.is_empty() {
        lines.push(format!("  {name} has signed no statement about this lot."));
    }
    let mut statements = Vec::new();
    for (one, shelved) in checked.iter().zip(on_shelf) {
        let (words, mut value) = told(one, &name);
        let refused = shelved.refused.as_deref();
        let waits = match (&one.kept.taken_at, refused) {
            (_, Some(why)) => format!(" Not taken by the server: {}", error_sentence(why)),
            (None, None) => " Not sent yet.".to_owned(),
            (Some(_), None) => String::new(),
        };
        lines.push(format!("  {words}{waits}\n    statement {}", shelved.statement));
        value["statement"] = json!(shelved.statement);
        value["refused"] = json!(refused);
        statements.push(value);
    }
    let value = json!({
        "lot": lot, "farm": farm, "farm_name": name,
        "tested": tested.code(), "statements": statements,
    });
    (lines.join("\n"), value)
}

/// A checked statement in words and as data.
fn told(one: &Checked, farm: &str) -> (String, Value) {
    let common = |stands, says: &str| {
        json!({
            "stands": stands, "says": says, "compact": one.kept.compact,
            "taken_at": one.kept.taken_at,
        })
    };
    match &one.outcome {
        Ok(said) => {
            let says = stated(said, farm);
            let mut value = common(true, &says);
            value["kind"] = json!(said.says.kind().map(spareloop_domain::attest::FactKind::code));
            value["key"] = json!(said.key);
            (says, value)
        }
        Err(refused) => {
            let says = format!("No longer counts: {refused}.");
            let value = common(false, &says);
            (says, value)
        }
    }
}

/// Holds texts against keys.
pub(super) fn verify(it: &Verify, desk: &Desk) -> Result<Answer, Fault> {
    let texts = read_texts(&it.file)?;
    let book = &desk.settings.book.value;
    let shelf = shelf::read(book)?;
    let (keys, farms) = match &it.keys {
        Some(path) => {
            let list = read_keys(path)?;
            (list.keys, list.farms)
        }
        None => (shelf.keys_with(&own::read(book)?), shelf.farms.clone()),
    };
    let shown = Shown { farm: it.farm, lot: it.lot, now: now() };
    let on_shelf = |compact: &str| {
        shelf.statements.iter().map(|one| &one.kept).find(|kept| kept.compact == compact)
    };
    let given: Vec<Kept> = texts
        .into_iter()
        .map(|compact| {
            let taken_at = on_shelf(&compact).and_then(|kept| kept.taken_at);
            Kept { compact, taken_at }
        })
        .collect();
    // What stands on the shelf can take one back that came by another way, and so can the others.
    let mut others = given.clone();
    others.extend(shelf.statements.iter().map(|one| one.kept.clone()));
    let (mut lines, mut data, mut exit) = (Vec::new(), Vec::new(), Exit::Done);
    for (number, kept) in given.iter().enumerate() {
        let outcome = hold(kept, &shown, &keys, &others);
        if outcome.is_err() {
            exit = Exit::Refused;
        }
        let (text, value) = verdict(number + 1, &outcome, &keys, &farms);
        lines.push(text);
        data.push(value);
    }
    lines.push(CAUTION.to_owned());
    Ok(Answer::new("verified", lines.join("\n"), json!({ "statements": data })).exiting(exit))
}

fn verdict(
    number: usize,
    outcome: &Result<Statement, VerifyError>,
    keys: &[KeyRecord],
    farms: &BTreeMap<FarmId, String>,
) -> (String, Value) {
    match outcome {
        Ok(said) => {
            let farm = farms.get(&said.farm).cloned();
            let farm = farm.unwrap_or_else(|| format!("The farm {}", said.farm));
            let says = stated(said, &farm);
            let record = keys.iter().find(|record| record.id() == said.key);
            // Nothing but the server or the file says so of a farm's first key.
            let compare = match record.map(|record| record.check(keys)) {
                Some(Ok(IntroducedBy::Earlier(_))) => "",
                _ => " (known by its own word: compare its id with the farm)",
            };
            let text = format!(
                "{number}: signed by the key {}{compare}, and unchanged. About lot {} ({}): {says}",
                said.key.short(),
                said.lot.code(),
                said.lot
            );
            (text, json!({ "holds": true, "says": says, "statement": said }))
        }
        Err(refused) => (
            format!("{number}: refused: {refused}. {}", refused.hint()),
            json!({ "holds": false, "why": refused.to_string(), "hint": refused.hint() }),
        ),
    }
}

/// The most that is read: more than all statements of a large network.
const MOST_READ: u64 = 64 * 1024 * 1024;

fn read_texts(path: &Path) -> Result<Vec<String>, Fault> {
    let mut text = String::new();
    let read = if path.as_os_str() == "-" {
        std::io::stdin().lock().take(MOST_READ).read_to_string(&mut text)
    } else {
        std::fs::File::open(path).and_then(|file| file.take(MOST_READ).read_to_string(&mut text))
    };
    read.map_err(|error| unreadable(path, &error))?;
    let lines = text.lines().map(str::trim).filter(|line| !line.is_empty());
    let texts: Vec<String> = lines.map(ToOwned::to_owned).collect();
    if texts.is_empty() {
        return Err(Fault::refused(
            format!("There is no signed text in {}.", path.display()),
            "Give a file with one a line, or - for standard input.",
        ));
    }
    Ok(texts)
}

fn read_keys(path: &Path) -> Result<KeyList, Fault> {
    let text = std::fs::read_to_string(path).map_err(|error| unreadable(path, &error))?;
    serde_json::from_str(&text).map_err(|error| {
        Fault::refused(
            format!("{} is not a list of keys: {error}.", path.display()),
            "Ask the farm for the file that spareloop attest export --keys-to writes.",
        )
    })
}

fn unreadable(path: &Path, error: &std::io::Error) -> Fault {
    Fault::refused(
        format!("{} can't be read: {error}.", path.display()),
        "Check the path; - reads standard input.",
    )
}
