//! The nightly copies: whose turn it is, and how the last one went.
//!
//! Several replicas may want to make the day's copy; the one that writes its row does. What may not
//! enter: how a copy is made, and when (the server's jobs know both).

use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use diesel::sql_types::{Text, Timestamp};
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, RunQueryDsl, sql_query};
use spareloop_domain::words::Day;

use crate::schema::nightly_copies;
use crate::text::{moment, read};
use crate::{StoreError, Tx};

const UNDER_WAY: &str = "under-way";
const DONE: &str = "done";
const FAILED: &str = "failed";

/// After how long a copy that is still under way is taken for one whose server went down.
const GIVEN_UP_AFTER: TimeDelta = TimeDelta::hours(3);
/// How long after a failure it is tried again.
const AGAIN_AFTER: TimeDelta = TimeDelta::minutes(30);

/// How a day's copy stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// A server is at it.
    UnderWay,
    /// It is there, and was read through.
    Done,
    /// There is none.
    Failed,
}

/// A day's copy.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NightlyCopy {
    /// For which day.
    pub day: Day,
    /// How it stands.
    pub state: State,
    /// When it began; when it ended, if it did.
    pub since: DateTime<Utc>,
    /// What is in it, or why there is none.
    pub said: String,
}

/// Whose turn a day's copy is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Turn {
    /// The caller's.
    Ours,
    /// It is done, another is at it, or it failed a short while ago.
    NotNow,
}

/// Takes the day's copy on, unless it is done or taken.
pub fn take(tx: &mut Tx<'_>, day: Day, now: DateTime<Utc>) -> Result<Turn, StoreError> {
    let newer: Option<String> = nightly_copies::table
        .filter(nightly_copies::state.eq(DONE))
        .filter(nightly_copies::day.ge(day.to_string()))
        .select(nightly_copies::day)
        .first(tx.connection)
        .optional()?;
    if newer.is_some() {
        return Ok(Turn::NotNow);
    }
    // Two that insert at once: one of them does, the other's statement does nothing.
    let inserted = sql_query(
        "INSERT INTO nightly_copies (day, state, since, said) VALUES ($1, 'under-way', $2, '') \
         ON CONFLICT DO NOTHING",
    )
    .bind::<Text, _>(day.to_string())
    .bind::<Timestamp, _>(moment(now))
    .execute(tx.connection)?;
    if inserted == 1 {
        return Ok(Turn::Ours);
    }
    for (state, after) in [(FAILED, AGAIN_AFTER), (UNDER_WAY, GIVEN_UP_AFTER)] {
        let taken = diesel::update(nightly_copies::table.find(day.to_string()))
            .filter(nightly_copies::state.eq(state))
            .filter(nightly_copies::since.le(moment(now - after)))
            .set((nightly_copies::state.eq(UNDER_WAY), nightly_copies::since.eq(moment(now))))
            .execute(tx.connection)?;
        if taken == 1 {
            return Ok(Turn::Ours);
        }
    }
    Ok(Turn::NotNow)
}

/// Notes how the day's copy ended.
pub fn end(
    tx: &mut Tx<'_>,
    day: Day,
    outcome: Result<&str, &str>,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let (state, said) = match outcome {
        Ok(said) => (DONE, said),
        Err(said) => (FAILED, said),
    };
    diesel::update(nightly_copies::table.find(day.to_string()))
        .set((
            nightly_copies::state.eq(state),
            nightly_copies::since.eq(moment(now)),
            nightly_copies::said.eq(said),
        ))
        .execute(tx.connection)?;
    Ok(())
}

/// The last copy that was begun, if any was.
pub fn last(tx: &mut Tx<'_>) -> Result<Option<NightlyCopy>, StoreError> {
    let row: Option<(String, String, NaiveDateTime, String)> = nightly_copies::table
        .order(nightly_copies::day.desc())
        .select((
            nightly_copies::day,
            nightly_copies::state,
            nightly_copies::since,
            nightly_copies::said,
        ))
        .first(tx.connection)
        .optional()?;
    row.map(|(day, state, since, said)| {
        let state = match state.as_str() {
            UNDER_WAY => State::UnderWay,
            DONE => State::Done,
            FAILED => State::Failed,
            other => return Err(StoreError::corrupt(format!("a copy's state {other:?}"))),
        };
        Ok(NightlyCopy { day: read(&day)?, state, since: since.and_utc(), said })
    })
    .transpose()
}
