//! Acts that are done once, however often they are sent.
//!
//! An act that was refused for good (`settle`) stays refused under its key. Else a copy of it that
//! was held up on the way could still do later what its sender was told is not done.

use chrono::{DateTime, TimeDelta, Utc};
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, RunQueryDsl, sql_query, sql_types};
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::fmt;
use std::str::FromStr;

use crate::kept::Kept;
use crate::schema::idempotency;
use crate::text::moment;
use crate::{Conflict, Store, StoreError, Tx};

/// How long an act is remembered.
const REMEMBERED: TimeDelta = TimeDelta::hours(48);

/// An `Idempotency-Key`: 8 to 64 letters, digits or hyphens, made once per act by the client.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct IdempotencyKey(String);

/// A text that is no idempotency key.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("an Idempotency-Key has 8 to 64 letters, digits or hyphens")]
pub struct KeyError;

impl FromStr for IdempotencyKey {
    type Err = KeyError;
    fn from_str(text: &str) -> Result<Self, KeyError> {
        let plain = |letter: u8| letter.is_ascii_alphanumeric() || letter == b'-';
        if (8..=64).contains(&text.len()) && text.bytes().all(plain) {
            Ok(Self(text.to_owned()))
        } else {
            Err(KeyError)
        }
    }
}

impl fmt::Display for IdempotencyKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// Which act it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ActKey {
    /// Who asks; keys of two callers never meet. At most 200 characters.
    pub caller: String,
    /// The caller's key for the act.
    pub key: IdempotencyKey,
    /// SHA-256 over the operation and its body, so that another act under the key is noticed.
    pub fingerprint: [u8; 32],
}

/// What an act gave.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Once<T> {
    /// Done now.
    Done(T),
    /// Done before; this is what it gave then.
    Replayed(T),
    /// Refused before; this is what was told then.
    Refused(String),
}

impl<T> Once<T> {
    /// What it gave, now or then, or what was told when it was refused.
    pub fn answer(self) -> Result<T, String> {
        match self {
            Self::Done(value) | Self::Replayed(value) => Ok(value),
            Self::Refused(told) => Err(told),
        }
    }
}

impl Store {
    /// Does an act and keeps what it gave in the same transaction, or answers with what it gave
    /// before. Two at the same time: one does it, the other waits and is answered the same. An act
    /// that fails leaves nothing behind, so that it can be sent again.
    pub fn once<T: Serialize + DeserializeOwned>(
        &self,
        act: &ActKey,
        now: DateTime<Utc>,
        mut work: impl FnMut(&mut Tx<'_>) -> Result<T, StoreError>,
    ) -> Result<Once<T>, StoreError> {
        self.write(|tx| match claim(tx, act, now)? {
            Claim::Ours => {
                let value = work(tx)?;
                let result = serde_json::to_string(&value).map_err(StoreError::broken)?;
                let row = idempotency::table.find((&act.caller, act.key.to_string()));
                Kept(diesel::update(row).set(idempotency::result.eq(result)))
                    .execute(tx.connection)?;
                Ok(Once::Done(value))
            }
            Claim::Done(result) => replayed(&result),
            Claim::Refused(told) => Ok(Once::Refused(told)),
        })
    }

    /// The same, and an act that the trade or somebody else's act refuses is refused for good: what
    /// `tell` makes of the error is kept and told again. Another act under the key may then take its
    /// place. Outages and faults leave nothing behind.
    pub fn settle<T: Serialize + DeserializeOwned>(
        &self,
        act: &ActKey,
        now: DateTime<Utc>,
        tell: impl Fn(&StoreError) -> String,
        work: impl FnMut(&mut Tx<'_>) -> Result<T, StoreError>,
    ) -> Result<Once<T>, StoreError> {
        let refused = match self.once(act, now, work) {
            Err(error) if is_for_good(&error) => error,
            done => return done,
        };
        let told = tell(&refused);
        // In a transaction of its own, since the act's is rolled back. A copy of the act may have
        // come between and been done: then that is the answer.
        let between = self.write(|tx| match claim(tx, act, now)? {
            Claim::Ours => {
                diesel::update(idempotency::table.find((&act.caller, act.key.to_string())))
                    .set(idempotency::refusal.eq(&told))
                    .execute(tx.connection)?;
                Ok(None)
            }
            Claim::Done(result) => replayed(&result).map(Some),
            Claim::Refused(told) => Ok(Some(Once::Refused(told))),
        })?;
        between.ok_or(refused)
    }
}

fn replayed<T: DeserializeOwned>(result: &str) -> Result<Once<T>, StoreError> {
    serde_json::from_str(result).map(Once::Replayed).map_err(StoreError::corrupt)
}

/// Whether sending the same act again could not change the answer rightly.
const fn is_for_good(error: &StoreError) -> bool {
    match error {
        StoreError::Conflict(conflict) => {
            !matches!(conflict, Conflict::KeyReused | Conflict::StillWorking)
        }
        StoreError::Missing(_) | StoreError::Refused(_) => true,
        _ => false,
    }
}

enum Claim {
    Ours,
    Done(String),
    Refused(String),
}

// DO NOTHING is right here and only here: the row that is there already is read and compared.
const CLAIM: &str = "INSERT INTO idempotency (caller, act_key, fingerprint, made_at) \
    VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING";

fn claim(tx: &mut Tx<'_>, act: &ActKey, now: DateTime<Utc>) -> Result<Claim, StoreError> {
    let fingerprint = crate::SecretHash::from(act.fingerprint).to_string();
    // On PostgreSQL this waits for whoever is inserting the same key, until they are done.
    let claiming = sql_query(CLAIM)
        .bind::<sql_types::Text, _>(&act.caller)
        .bind::<sql_types::Text, _>(act.key.to_string())
        .bind::<sql_types::Text, _>(&fingerprint)
        .bind::<sql_types::Timestamp, _>(moment(now));
    let inserted = Kept(claiming).execute(tx.connection)?;
    if inserted == 1 {
        return Ok(Claim::Ours);
    }
    let before: Option<(String, Option<String>, Option<String>)> = idempotency::table
        .find((&act.caller, act.key.to_string()))
        .select((idempotency::fingerprint, idempotency::result, idempotency::refusal))
        .first(tx.connection)
        .optional()?;
    match before {
        Some((then, _, Some(told))) if then == fingerprint => Ok(Claim::Refused(told)),
        Some((then, _, Some(_))) => take_over(tx, act, (&then, &fingerprint), now),
        Some((then, ..)) if then != fingerprint => Err(Conflict::KeyReused.into()),
        Some((_, Some(result), None)) => Ok(Claim::Done(result)),
        // Pruned between the two statements, or left by a program that is not ours.
        Some((_, None, None)) | None => Err(Conflict::StillWorking.into()),
    }
}

/// A refused act did nothing, so another one may have its key, as a form that was corrected does.
/// A copy of the refused one that comes late then finds another act's key.
fn take_over(
    tx: &mut Tx<'_>,
    act: &ActKey,
    (then, fingerprint): (&str, &str),
    now: DateTime<Utc>,
) -> Result<Claim, StoreError> {
    let taken = diesel::update(
        idempotency::table
            .find((&act.caller, act.key.to_string()))
            .filter(idempotency::fingerprint.eq(then)),
    )
    .set((
        idempotency::fingerprint.eq(fingerprint),
        idempotency::refusal.eq(None::<String>),
        idempotency::made_at.eq(moment(now)),
    ))
    .execute(tx.connection)?;
    // On PostgreSQL two may want it: the one that comes second sees who has it by sending again.
    if taken == 1 { Ok(Claim::Ours) } else { Err(Conflict::StillWorking.into()) }
}

/// Forgets acts older than 48 hours; answers how many.
pub fn prune_acts(tx: &mut Tx<'_>, now: DateTime<Utc>) -> Result<usize, StoreError> {
    let oldest = moment(now - REMEMBERED);
    Ok(diesel::delete(idempotency::table.filter(idempotency::made_at.lt(oldest)))
        .execute(tx.connection)?)
}
