//! When rounds begin by themselves.
//!
//! The row's `next_at` is moved on in the transaction that begins the round, so that of several
//! servers one begins it.

use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use diesel::sql_types::{BigInt, Text, Timestamp};
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, RunQueryDsl, sql_query};
use spareloop_domain::exchange::RoundState;
use spareloop_domain::exchange::round::{Kind, RuleError, Rules};
use spareloop_domain::words::NetworkId;

use super::read_rules;
use crate::schema::{round_timetables as timetables, rounds};
use crate::text::{moment, read};
use crate::{StoreError, Tx};

/// Every how many days a round of loops begins.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Timetable {
    /// Days from one to the next, 1 to 366.
    pub every_days: u16,
    /// By which rules.
    pub rules: Rules,
    /// When the next one begins.
    pub next_at: DateTime<Utc>,
}

/// Sets a network's timetable.
pub fn set(tx: &mut Tx<'_>, network: NetworkId, timetable: &Timetable) -> Result<(), StoreError> {
    timetable.rules.check().map_err(StoreError::refuse)?;
    let wrong = |field, problem: &str| {
        Err(StoreError::refuse(RuleError { field, problem: problem.to_owned() }))
    };
    if !(1..=366).contains(&timetable.every_days) {
        return wrong("every_days", "1 to 366 days");
    }
    if matches!(timetable.rules.kind, Kind::SwapDay { .. }) {
        return wrong("kind", "a timetable begins rounds of loops; a swap day has its own day");
    }
    sql_query(
        "INSERT INTO round_timetables (network, every_days, rules, next_at) VALUES ($1, $2, $3, $4) \
         ON CONFLICT (network) DO UPDATE SET every_days = excluded.every_days, \
         rules = excluded.rules, next_at = excluded.next_at",
    )
    .bind::<Text, _>(network.to_string())
    .bind::<BigInt, _>(i64::from(timetable.every_days))
    .bind::<Text, _>(serde_json::to_string(&timetable.rules).map_err(StoreError::broken)?)
    .bind::<Timestamp, _>(moment(timetable.next_at))
    .execute(tx.connection)?;
    Ok(())
}

/// Takes a network's timetable away.
pub fn remove(tx: &mut Tx<'_>, network: NetworkId) -> Result<(), StoreError> {
    diesel::delete(timetables::table.find(network.to_string())).execute(tx.connection)?;
    Ok(())
}

/// A network's timetable, if it has one.
pub fn timetable(tx: &mut Tx<'_>, network: NetworkId) -> Result<Option<Timetable>, StoreError> {
    let row: Option<(i64, String, NaiveDateTime)> = timetables::table
        .find(network.to_string())
        .select((timetables::every_days, timetables::rules, timetables::next_at))
        .first(tx.connection)
        .optional()?;
    row.map(|(every_days, rules, next_at)| {
        Ok(Timetable {
            every_days: u16::try_from(every_days).map_err(StoreError::corrupt)?,
            rules: read_rules(&rules)?,
            next_at: next_at.and_utc(),
        })
    })
    .transpose()
}

/// The networks whose next round is due and in which none is under way.
pub fn due(tx: &mut Tx<'_>, now: DateTime<Utc>) -> Result<Vec<NetworkId>, StoreError> {
    let under_way = rounds::table
        .filter(rounds::state.eq_any([RoundState::Asked.code(), RoundState::Solving.code()]))
        .select(rounds::network);
    let ids: Vec<String> = timetables::table
        .filter(timetables::next_at.le(moment(now)))
        .filter(timetables::network.ne_all(under_way))
        .order(timetables::network)
        .select(timetables::network)
        .load(tx.connection)?;
    ids.iter().map(|id| read(id)).collect()
}

/// Whether a timetable was moved on here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Moved {
    /// It was: the round is this one's to begin.
    On,
    /// It was not due, or another server moved it on.
    Not,
}

/// Moves a network's timetable on past `now`, if its next round is due. Of several servers one does.
pub fn move_on(
    tx: &mut Tx<'_>,
    network: NetworkId,
    now: DateTime<Utc>,
) -> Result<Moved, StoreError> {
    let Some(found) = timetable(tx, network)? else { return Ok(Moved::Not) };
    let every = TimeDelta::days(i64::from(found.every_days));
    // A server that was away for weeks begins one round, not one for every time it missed.
    let mut next = found.next_at;
    while next <= now {
        next += every;
    }
    let moved = diesel::update(
        timetables::table
            .filter(timetables::network.eq(network.to_string()))
            .filter(timetables::next_at.eq(moment(found.next_at)))
            .filter(timetables::next_at.le(moment(now))),
    )
    .set(timetables::next_at.eq(moment(next)))
    .execute(tx.connection)?;
    Ok(if moved == 1 { Moved::On } else { Moved::Not })
}
