//! Acts on the network: stored under a client-made id before they are sent, resent unchanged.

use diesel::prelude::*;
use diesel::sqlite::SqliteConnection;
use serde_json::Value;
use uuid::Uuid;

use super::BookError;
use super::farm::odd;
use super::schema::acts;

/// An act that was stored to be sent.
#[derive(Debug, Clone, PartialEq)]
pub struct Act {
    /// The idempotency key.
    pub id: Uuid,
    /// The operation, as `ask-hold`.
    pub operation: String,
    /// The address below `/api/v1`.
    pub path: String,
    /// What is sent.
    pub body: Value,
    /// What it is, in words.
    pub said: String,
}

/// How an act ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ended {
    /// The server did it.
    Done,
    /// The server refused it.
    Refused,
}

impl Ended {
    const fn code(self) -> &'static str {
        match self {
            Self::Done => "done",
            Self::Refused => "refused",
        }
    }
}

/// Stores an act before it is sent.
pub fn put(
    connection: &mut SqliteConnection,
    act: &Act,
    wall_millis: u64,
) -> Result<(), BookError> {
    diesel::insert_into(acts::table)
        .values((
            acts::id.eq(act.id.to_string()),
            acts::operation.eq(&act.operation),
            acts::path.eq(&act.path),
            acts::body.eq(act.body.to_string()),
            acts::said.eq(&act.said),
            acts::made_at.eq(i64::try_from(wall_millis).map_err(odd)?),
            acts::state.eq("waiting"),
            acts::answer.eq(None::<String>),
        ))
        .execute(connection)?;
    Ok(())
}

/// Acts that no answer came for, oldest first.
pub fn waiting(connection: &mut SqliteConnection) -> Result<Vec<Act>, BookError> {
    let rows: Vec<(String, String, String, String, String)> = acts::table
        .filter(acts::state.eq("waiting"))
        .order((acts::made_at, acts::id))
        .select((acts::id, acts::operation, acts::path, acts::body, acts::said))
        .load(connection)?;
    rows.into_iter()
        .map(|(id, operation, path, body, said)| {
            Ok(Act {
                id: id.parse().map_err(odd)?,
                operation,
                path,
                body: serde_json::from_str(&body).map_err(odd)?,
                said,
            })
        })
        .collect()
}

/// Notes the server's answer.
pub fn end(
    connection: &mut SqliteConnection,
    id: Uuid,
    ended: Ended,
    answer: &str,
) -> Result<(), BookError> {
    diesel::update(acts::table.find(id.to_string()))
        .set((acts::state.eq(ended.code()), acts::answer.eq(Some(answer))))
        .execute(connection)?;
    Ok(())
}
