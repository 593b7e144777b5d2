//! What a book says, so that two runs can be compared; and whether the book is whole.

use std::collections::BTreeMap;
use std::path::Path;

use diesel::connection::SimpleConnection;
use diesel::{Connection, QueryableByName, RunQueryDsl, SqliteConnection, sql_query};
use serde_json::Value;
use spareloop_domain::ledger::{Entry, fold};

use super::tally::Wrong;
use crate::farm::Device;

/// What a book says apart from ids, times and hashes, which differ from run to run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Standing {
    /// No book yet, or a file in which no farm was begun.
    Nothing,
    /// The farm's name and its entries, an id written as the place where it first occurs.
    Book(String),
}

fn bad(what: impl Into<String>) -> Wrong {
    Wrong::Inconsistent(what.into())
}

/// The lines of `export`, or nothing if there is no book.
pub fn exported(device: &Device) -> Result<Option<Vec<Entry>>, Wrong> {
    let said = device.run(&["export"]);
    if said.exit == 1
        && (said.err.contains("There is no stock book") || said.err.contains("holds no farm yet"))
    {
        return Ok(None);
    }
    if said.exit != 0 {
        return Err(bad(format!("export ends with {}: {}", said.exit, said.err)));
    }
    let entries = said.out.lines().map(serde_json::from_str).collect::<Result<Vec<Entry>, _>>();
    entries.map(Some).map_err(|error| bad(format!("export writes no entries: {error}")))
}

impl Standing {
    /// Opens the book with the real program, checks that it is whole and answers what it says.
    pub fn of(device: &Device) -> Result<Self, Wrong> {
        let Some(entries) = exported(device)? else {
            return Ok(Self::Nothing);
        };
        is_whole(device, &entries)?;
        let mut ids = BTreeMap::new();
        let mut lines = Vec::with_capacity(entries.len());
        for entry in &entries {
            let value = serde_json::to_value(entry).map_err(|error| bad(error.to_string()))?;
            let told: Value = ["id", "device", "seq", "on", "kind", "body"]
                .into_iter()
                .map(|field| (field.to_owned(), numbered(&value[field], &mut ids)))
                .collect::<serde_json::Map<_, _>>()
                .into();
            lines.push(told.to_string());
        }
        Ok(Self::Book(lines.join("\n")))
    }
}

fn numbered(value: &Value, ids: &mut BTreeMap<String, usize>) -> Value {
    match value {
        Value::String(text) if uuid::Uuid::parse_str(text).is_ok() => {
            let next = ids.len();
            format!("#{}", ids.entry(text.clone()).or_insert(next)).into()
        }
        Value::Array(all) => all.iter().map(|one| numbered(one, ids)).collect(),
        Value::Object(fields) => fields
            .iter()
            .map(|(name, one)| (name.clone(), numbered(one, ids)))
            .collect::<serde_json::Map<_, _>>()
            .into(),
        other => other.clone(),
    }
}

/// The file, every hash and chain, and what the program tells of the lots against a replay of its
/// entries from nothing.
fn is_whole(device: &Device, entries: &[Entry]) -> Result<(), Wrong> {
    sqlite_is_whole(device.book())?;
    let said = device.run(&["doctor", "--offline"]);
    if said.exit != 0 {
        return Err(bad(format!("doctor ends with {}: {}{}", said.exit, said.out, said.err)));
    }
    let replayed = fold(entries);
    let replayed: BTreeMap<String, u64> = replayed
        .lots
        .iter()
        .map(|(id, lot)| (id.to_string(), u64::from(lot.in_store.get())))
        .collect();
    let said = device.run(&["lot", "list", "--all", "--json"]);
    let listed: Value = serde_json::from_str(&said.out)
        .map_err(|error| bad(format!("lot list: {error}: {}{}", said.out, said.err)))?;
    let told: BTreeMap<String, u64> = listed["lots"]
        .as_array()
        .into_iter()
        .flatten()
        .filter_map(|lot| Some((lot["lot"].as_str()?.to_owned(), lot["in_store"].as_u64()?)))
        .collect();
    if told == replayed {
        Ok(())
    } else {
        Err(bad(format!("lots are told as {told:?}, and a replay says {replayed:?}")))
    }
}

#[derive(QueryableByName)]
struct Verdict {
    #[diesel(sql_type = diesel::sql_types::Text)]
    integrity_check: String,
}

#[derive(QueryableByName)]
struct Dangling {
    #[diesel(sql_type = diesel::sql_types::Text)]
    #[diesel(column_name = "parent")]
    _parent: String,
}

/// Asks SQLite about pages, indexes and references.
pub fn sqlite_is_whole(file: &Path) -> Result<(), Wrong> {
    let broken = |error: &dyn std::fmt::Display| bad(format!("{}: {error}", file.display()));
    let path = file.to_str().ok_or_else(|| bad("an odd path"))?;
    let mut connection = SqliteConnection::establish(path).map_err(|error| broken(&error))?;
    connection.batch_execute("PRAGMA busy_timeout = 5000").map_err(|error| broken(&error))?;
    let said: Vec<Verdict> = sql_query("PRAGMA integrity_check")
        .load(&mut connection)
        .map_err(|error| broken(&error))?;
    let dangling: Vec<Dangling> = sql_query("PRAGMA foreign_key_check")
        .load(&mut connection)
        .map_err(|error| broken(&error))?;
    match said.as_slice() {
        [Verdict { integrity_check }] if integrity_check == "ok" && dangling.is_empty() => Ok(()),
        _ => Err(bad(format!("SQLite finds {} damaged", file.display()))),
    }
}
