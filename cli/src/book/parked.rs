//! Entries that left their chain here: refused by the server, or displaced by a fork. Kept whole and
//! shown; nothing is ever dropped.

use diesel::prelude::*;
use diesel::sqlite::SqliteConnection;
use serde::{Deserialize, Serialize};
use spareloop_domain::ledger::Entry;

use super::farm::odd;
use super::schema::parked;
use super::{BookError, entries};

/// What became of a parked entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// It stands nowhere else and doesn't count in the book.
    Waiting,
    /// Its fact stands in the book again, under the same entry id at another place.
    NotedAgain,
}

impl State {
    /// As it is kept.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Waiting => "waiting",
            Self::NotedAgain => "noted_again",
        }
    }

    /// As it was kept; what isn't known waits to be looked at.
    pub fn read(code: &str) -> Self {
        if code == Self::NotedAgain.code() { Self::NotedAgain } else { Self::Waiting }
    }
}

/// One entry set aside, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Parked {
    /// Names it here: 1, 2, 3 ...
    pub number: i64,
    /// The entry, whole.
    pub entry: Entry,
    /// The problem's code.
    pub code: String,
    /// In words.
    pub detail: String,
}

/// Sets an entry aside: it leaves the chain here, and is kept and shown.
pub fn park(
    connection: &mut SqliteConnection,
    entry: &Entry,
    (code, detail): (&str, &str),
    state: State,
    wall_millis: u64,
) -> Result<(), BookError> {
    diesel::insert_into(parked::table)
        .values((
            parked::entry.eq(serde_json::to_string(entry).map_err(odd)?),
            parked::code.eq(code),
            parked::detail.eq(detail),
            parked::parked_at.eq(i64::try_from(wall_millis).map_err(odd)?),
            parked::state.eq(state.code()),
        ))
        .execute(connection)?;
    entries::take_out(connection, entry)
}

/// What was set aside and stands nowhere else, oldest first.
pub fn waiting(connection: &mut SqliteConnection) -> Result<Vec<Parked>, BookError> {
    let rows: Vec<(i64, String, String, String)> = parked::table
        .filter(parked::state.eq(State::Waiting.code()))
        .order(parked::number)
        .select((parked::number, parked::entry, parked::code, parked::detail))
        .load(connection)?;
    rows.into_iter()
        .map(|(number, entry, code, detail)| {
            let entry = serde_json::from_str(&entry).map_err(odd)?;
            Ok(Parked { number, entry, code, detail })
        })
        .collect()
}

/// Notes that a parked entry's fact stands in the book again.
pub fn noted_again(connection: &mut SqliteConnection, it: &Parked) -> Result<(), BookError> {
    diesel::update(parked::table.find(it.number))
        .set(parked::state.eq(State::NotedAgain.code()))
        .execute(connection)?;
    Ok(())
}
