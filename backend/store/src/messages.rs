//! What a farm is told, written in the same transaction as the act it tells of.

use chrono::{DateTime, NaiveDateTime, Utc};
use diesel::dsl::max;
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, RunQueryDsl};
use spareloop_domain::words::{FarmId, HoldId, MessageId};

use crate::schema::{entries, farms, messages};
use crate::text::{moment, read, read_some};
use crate::{StoreError, Tx, channels, fresh};

/// Something a farm was told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    /// Its id.
    pub id: MessageId,
    /// When.
    pub at: DateTime<Utc>,
    /// What, in a sentence or two.
    pub text: String,
    /// The hold it is about.
    pub hold: Option<HoldId>,
}

/// Tells a farm something: on its page and feed, and by every channel over which messages are brought.
pub(crate) fn tell(
    tx: &mut Tx<'_>,
    farm: FarmId,
    hold: Option<HoldId>,
    text: &str,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let id = MessageId::new(fresh::uuid(now)?);
    diesel::insert_into(messages::table)
        .values((
            messages::id.eq(id.to_string()),
            messages::farm.eq(farm.to_string()),
            messages::at.eq(moment(now)),
            messages::body.eq(text),
            messages::hold.eq(hold.map(|hold| hold.to_string())),
        ))
        .execute(tx.connection)?;
    channels::ask_for_message(tx, farm, id, now)
}

/// Tells every farm that the server's book was put back from a copy, and what is not in it.
pub(crate) fn tell_of_restore(tx: &mut Tx<'_>, now: DateTime<Utc>) -> Result<(), StoreError> {
    let newest: (Option<NaiveDateTime>, Option<NaiveDateTime>) = (
        entries::table.select(max(entries::stored_at)).first(tx.connection)?,
        messages::table.select(max(messages::at)).first(tx.connection)?,
    );
    let until = newest.0.max(newest.1).map_or_else(String::new, |at| {
        format!(" (the newest in it is of {})", at.format("%Y-%m-%d %H:%M UTC"))
    });
    let text = format!(
        "The server's book was put back from an older copy{until}. What farms noted comes back from \
         their devices with the next sync. Offers, wants, holds, hand-overs, receipts, postings in \
         the owed book and devices that were made known after that copy are not in it: look through \
         yours and make again what is missing. A hold whose parcel was handed over after the copy \
         stands as agreed again: the stock book has the hand-over, so release the hold and do not \
         hand it over twice."
    );
    let all: Vec<String> = farms::table.select(farms::id).order(farms::id).load(tx.connection)?;
    for farm in all {
        tell(tx, read(&farm)?, None, &text, now)?;
    }
    Ok(())
}

/// One thing that the farm was told.
pub(crate) fn one(
    tx: &mut Tx<'_>,
    farm: FarmId,
    id: MessageId,
) -> Result<Option<Message>, StoreError> {
    let row: Option<(NaiveDateTime, String, Option<String>)> = messages::table
        .filter(messages::farm.eq(farm.to_string()))
        .filter(messages::id.eq(id.to_string()))
        .select((messages::at, messages::body, messages::hold))
        .first(tx.connection)
        .optional()?;
    row.map(|(at, text, hold)| {
        Ok(Message { id, at: at.and_utc(), text, hold: read_some(hold.as_deref())? })
    })
    .transpose()
}

/// What the farm was told, newest first: at most `limit`, those before `before` if it is given.
pub fn list(
    tx: &mut Tx<'_>,
    farm: FarmId,
    before: Option<MessageId>,
    limit: u32,
) -> Result<Vec<Message>, StoreError> {
    let mut query = messages::table
        .filter(messages::farm.eq(farm.to_string()))
        .order(messages::id.desc())
        .limit(i64::from(limit))
        .select((messages::id, messages::at, messages::body, messages::hold))
        .into_boxed();
    if let Some(before) = before {
        query = query.filter(messages::id.lt(before.to_string()));
    }
    let rows: Vec<(String, NaiveDateTime, String, Option<String>)> = query.load(tx.connection)?;
    rows.into_iter()
        .map(|(id, at, text, hold)| {
            Ok(Message {
                id: read(&id)?,
                at: at.and_utc(),
                text,
                hold: read_some(hold.as_deref())?,
            })
        })
        .collect()
}
