//! What the book holds besides its entries, row by row, so that a whole book can be carried out and
//! in again. Secrets are not in the book ([`super::keys`]), so none can come along.
//!
//! What may not enter: files, formats, entries (they go by their chains, [`super::entries`]).

use diesel::prelude::*;
use diesel::sqlite::SqliteConnection;
use serde::{Deserialize, Serialize};
use spareloop_domain::ledger::{Entry, Stamp};
use spareloop_domain::words::{Count, DeviceId, LotId};
use uuid::Uuid;

use super::BookError;
use super::farm::odd;
use super::parked::State;
use super::schema::{acts, clock, column_names, devices, imported, parked, promised};

/// Whether a device id is this device's own now.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DeviceState {
    /// It is.
    Current,
    /// It was, before a fork.
    Retired,
}

/// This device, or one that it was.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct DeviceRow {
    /// Its id.
    pub id: DeviceId,
    /// "laptop in the house".
    pub name: String,
    /// When it began, in milliseconds since 1970 UTC.
    pub made_at: i64,
    /// Entries up to this place may have left the device.
    pub sent: i64,
    /// Whether it is the current one.
    pub state: DeviceState,
}

/// A row that is no entry.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Beside {
    /// An entry set aside, and why.
    Parked {
        /// The entry, whole.
        entry: Entry,
        /// The problem's code.
        code: String,
        /// In words.
        detail: String,
        /// When, in milliseconds since 1970 UTC.
        parked_at: i64,
        /// Whether it stands in the book again.
        state: State,
    },
    /// An act on the network, waiting or ended.
    Act {
        /// The idempotency key.
        id: Uuid,
        /// The operation.
        operation: String,
        /// The address below `/api/v1`.
        path: String,
        /// What is sent, as JSON text.
        body: String,
        /// What it is, in words.
        said: String,
        /// When, in milliseconds since 1970 UTC.
        made_at: i64,
        /// `waiting`, `done` or `refused`.
        state: String,
        /// The server's answer.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        answer: Option<String>,
    },
    /// Units of a lot that are promised, as the server said last.
    Promised {
        /// The lot.
        lot: LotId,
        /// How many.
        count: Count,
    },
    /// A row of a spreadsheet, as it was imported.
    Imported {
        /// The kind of file.
        file_kind: String,
        /// What the row is known by.
        key: String,
        /// What it said.
        text: String,
        /// The lot it is about.
        lot: LotId,
    },
    /// Which field a column of a farm's files holds.
    Column {
        /// The kind of file.
        file_kind: String,
        /// The heading.
        heading: String,
        /// The field.
        field: String,
    },
}

/// This device and those that it was, oldest first.
pub fn devices(connection: &mut SqliteConnection) -> Result<Vec<DeviceRow>, BookError> {
    let rows: Vec<(String, String, i64, i64, String)> = devices::table
        .order((devices::made_at, devices::id))
        .select((devices::id, devices::name, devices::made_at, devices::sent_seq, devices::state))
        .load(connection)?;
    rows.into_iter()
        .map(|(id, name, made_at, sent, state)| {
            let state = match state.as_str() {
                "current" => DeviceState::Current,
                _ => DeviceState::Retired,
            };
            Ok(DeviceRow { id: id.parse().map_err(odd)?, name, made_at, sent, state })
        })
        .collect()
}

/// Writes a device into a book that doesn't know it.
pub fn put_device(connection: &mut SqliteConnection, it: &DeviceRow) -> Result<(), BookError> {
    let state = match it.state {
        DeviceState::Current => "current",
        DeviceState::Retired => "retired",
    };
    diesel::insert_into(devices::table)
        .values((
            devices::id.eq(it.id.to_string()),
            devices::name.eq(&it.name),
            devices::made_at.eq(it.made_at),
            devices::sent_seq.eq(it.sent),
            devices::state.eq(state),
        ))
        .execute(connection)?;
    Ok(())
}

/// The last stamp that this device gave or saw.
pub fn last_stamp(connection: &mut SqliteConnection) -> Result<Stamp, BookError> {
    let row: Option<(i64, i64)> =
        clock::table.select((clock::millis, clock::counter)).first(connection).optional()?;
    row.map_or_else(
        || Ok(Stamp::default()),
        |(millis, counter)| {
            Ok(Stamp {
                millis: u64::try_from(millis).map_err(odd)?,
                counter: u32::try_from(counter).map_err(odd)?,
            })
        },
    )
}

/// Makes this device's clock go on from a stamp, unless it is past it.
pub fn pass_stamp(connection: &mut SqliteConnection, stamp: Stamp) -> Result<(), BookError> {
    if last_stamp(connection)? >= stamp {
        return Ok(());
    }
    diesel::replace_into(clock::table)
        .values((
            clock::one.eq(1),
            clock::millis.eq(i64::try_from(stamp.millis).map_err(odd)?),
            clock::counter.eq(i64::from(stamp.counter)),
        ))
        .execute(connection)?;
    Ok(())
}

/// Hands every row that is no entry to `take`, one at a time, always in the same order.
pub fn each_beside<E: From<BookError>>(
    connection: &mut SqliteConnection,
    take: &mut dyn FnMut(Beside) -> Result<(), E>,
) -> Result<(), E> {
    each_parked(connection, take)?;
    each_act(connection, take)?;
    each_promised(connection, take)?;
    each_imported(connection, take)?;
    each_column(connection, take)
}

/// Loads a query row by row, so that a long table is never in memory whole.
macro_rules! each {
    ($connection:ident, $query:expr, $row:ty, |$pattern:pat_param| $beside:expr, $take:ident) => {{
        let rows = $query.load_iter::<$row, _>($connection).map_err(BookError::from)?;
        for row in rows {
            let $pattern = row.map_err(BookError::from)?;
            $take($beside)?;
        }
        Ok(())
    }};
}

fn each_parked<E: From<BookError>>(
    connection: &mut SqliteConnection,
    take: &mut dyn FnMut(Beside) -> Result<(), E>,
) -> Result<(), E> {
    each!(
        connection,
        parked::table.order(parked::number).select((
            parked::entry,
            parked::code,
            parked::detail,
            parked::parked_at,
            parked::state
        )),
        (String, String, String, i64, String),
        |(entry, code, detail, parked_at, state)| Beside::Parked {
            entry: serde_json::from_str(&entry).map_err(odd)?,
            code,
            detail,
            parked_at,
            state: State::read(&state),
        },
        take
    )
}

fn each_act<E: From<BookError>>(
    connection: &mut SqliteConnection,
    take: &mut dyn FnMut(Beside) -> Result<(), E>,
) -> Result<(), E> {
    each!(
        connection,
        acts::table.order((acts::made_at, acts::id)),
        (String, String, String, String, String, i64, String, Option<String>),
        |(id, operation, path, body, said, made_at, state, answer)| Beside::Act {
            id: id.parse().map_err(odd)?,
            operation,
            path,
            body,
            said,
            made_at,
            state,
            answer,
        },
        take
    )
}

fn each_promised<E: From<BookError>>(
    connection: &mut SqliteConnection,
    take: &mut dyn FnMut(Beside) -> Result<(), E>,
) -> Result<(), E> {
    each!(
        connection,
        promised::table.order(promised::lot),
        (String, i64),
        |(lot, count)| Beside::Promised {
            lot: lot.parse().map_err(odd)?,
            count: Count::new(count).map_err(odd)?,
        },
        take
    )
}

fn each_imported<E: From<BookError>>(
    connection: &mut SqliteConnection,
    take: &mut dyn FnMut(Beside) -> Result<(), E>,
) -> Result<(), E> {
    each!(
        connection,
        imported::table.order((imported::file_kind, imported::row_key)),
        (String, String, String, String),
        |(file_kind, key, text, lot)| Beside::Imported {
            file_kind,
            key,
            text,
            lot: lot.parse().map_err(odd)?,
        },
        take
    )
}

fn each_column<E: From<BookError>>(
    connection: &mut SqliteConnection,
    take: &mut dyn FnMut(Beside) -> Result<(), E>,
) -> Result<(), E> {
    each!(
        connection,
        column_names::table.order((column_names::file_kind, column_names::header)),
        (String, String, String),
        |(file_kind, heading, field)| Beside::Column { file_kind, heading, field },
        take
    )
}

/// Whether a row is in the book already: one of its key, or of its content where it has none.
pub fn is_there(connection: &mut SqliteConnection, it: &Beside) -> Result<bool, BookError> {
    let count: i64 = match it {
        Beside::Parked { entry, code, .. } => {
            let text = serde_json::to_string(entry).map_err(odd)?;
            parked::table
                .filter(parked::entry.eq(text))
                .filter(parked::code.eq(code))
                .count()
                .get_result(connection)?
        }
        Beside::Act { id, .. } => {
            acts::table.find(id.to_string()).count().get_result(connection)?
        }
        Beside::Promised { lot, .. } => {
            promised::table.find(lot.to_string()).count().get_result(connection)?
        }
        Beside::Imported { file_kind, key, .. } => {
            imported::table.find((file_kind, key)).count().get_result(connection)?
        }
        Beside::Column { file_kind, heading, .. } => {
            column_names::table.find((file_kind, heading)).count().get_result(connection)?
        }
    };
    Ok(count > 0)
}

/// Writes a row that isn't there.
pub fn put_beside(connection: &mut SqliteConnection, it: &Beside) -> Result<(), BookError> {
    match it {
        Beside::Parked { entry, code, detail, parked_at, state } => {
            diesel::insert_into(parked::table)
                .values((
                    parked::state.eq(state.code()),
                    parked::entry.eq(serde_json::to_string(entry).map_err(odd)?),
                    parked::code.eq(code),
                    parked::detail.eq(detail),
                    parked::parked_at.eq(parked_at),
                ))
                .execute(connection)
        }
        Beside::Act { id, operation, path, body, said, made_at, state, answer } => {
            diesel::insert_into(acts::table)
                .values((
                    acts::id.eq(id.to_string()),
                    acts::operation.eq(operation),
                    acts::path.eq(path),
                    acts::body.eq(body),
                    acts::said.eq(said),
                    acts::made_at.eq(made_at),
                    acts::state.eq(state),
                    acts::answer.eq(answer),
                ))
                .execute(connection)
        }
        Beside::Promised { lot, count } => diesel::insert_into(promised::table)
            .values((promised::lot.eq(lot.to_string()), promised::count.eq(i64::from(*count))))
            .execute(connection),
        Beside::Imported { file_kind, key, text, lot } => diesel::insert_into(imported::table)
            .values((
                imported::file_kind.eq(file_kind),
                imported::row_key.eq(key),
                imported::row_text.eq(text),
                imported::lot.eq(lot.to_string()),
            ))
            .execute(connection),
        Beside::Column { file_kind, heading, field } => diesel::insert_into(column_names::table)
            .values((
                column_names::file_kind.eq(file_kind),
                column_names::header.eq(heading),
                column_names::field.eq(field),
            ))
            .execute(connection),
    }?;
    Ok(())
}
