//! Acts that are done once, however often they are sent.

use chrono::{DateTime, TimeDelta, Utc};
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, RunQueryDsl, sql_query, sql_types};
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::fmt;
use std::str::FromStr;

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
}

impl<T> Once<T> {
    /// What it gave, now or then.
    pub fn into_inner(self) -> T {
        match self {
            Self::Done(value) | Self::Replayed(value) => value,
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
                diesel::update(idempotency::table.find((&act.caller, act.key.to_string())))
                    .set(idempotency::result.eq(result))
                    .execute(tx.connection)?;
                Ok(Once::Done(value))
            }
            Claim::Done(result) => {
                serde_json::from_str(&result).map(Once::Replayed).map_err(StoreError::corrupt)
            }
        })
    }
}

enum Claim {
    Ours,
    Done(String),
}

// DO NOTHING is right here and only here: the row that is there already is read and compared.
const CLAIM: &str = "INSERT INTO idempotency (caller, act_key, fingerprint, made_at) \
    VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING";

fn claim(tx: &mut Tx<'_>, act: &ActKey, now: DateTime<Utc>) -> Result<Claim, StoreError> {
    let fingerprint = crate::SecretHash::from(act.fingerprint).to_string();
    // On PostgreSQL this waits for whoever is inserting the same key, until they are done.
    let inserted = sql_query(CLAIM)
        .bind::<sql_types::Text, _>(&act.caller)
        .bind::<sql_types::Text, _>(act.key.to_string())
        .bind::<sql_types::Text, _>(&fingerprint)
        .bind::<sql_types::Timestamp, _>(moment(now))
        .execute(tx.connection)?;
    if inserted == 1 {
        return Ok(Claim::Ours);
    }
    let before: Option<(String, Option<String>)> = idempotency::table
        .find((&act.caller, act.key.to_string()))
        .select((idempotency::fingerprint, idempotency::result))
        .first(tx.connection)
        .optional()?;
    match before {
        Some((then, _)) if then != fingerprint => Err(Conflict::KeyReused.into()),
        Some((_, Some(result))) => Ok(Claim::Done(result)),
        // Pruned between the two statements, or left by a program that is not ours.
        Some((_, None)) | None => Err(Conflict::StillWorking.into()),
    }
}

/// Forgets acts older than 48 hours; answers how many.
pub fn prune_acts(tx: &mut Tx<'_>, now: DateTime<Utc>) -> Result<usize, StoreError> {
    let oldest = moment(now - REMEMBERED);
    Ok(diesel::delete(idempotency::table.filter(idempotency::made_at.lt(oldest)))
        .execute(tx.connection)?)
}
