//! The one-time link that makes the first coordinator.

use chrono::{DateTime, Utc};
use diesel::dsl::exists;
use diesel::{ExpressionMethods, QueryDsl, RunQueryDsl, select};

use super::{ActsFor, NewPerson, insert_person};
use crate::error::one_row;
use crate::schema::{people, server_state, set_up_tokens};
use crate::text::moment;
use crate::{CodeFor, Conflict, SecretHash, StoreError, Tx};

/// Whether anybody can sign in yet.
pub fn somebody_is_set_up(tx: &mut Tx<'_>) -> Result<bool, StoreError> {
    Ok(select(exists(people::table.select(people::id))).get_result(tx.connection)?)
}

/// Whether a link waits to be used.
pub fn set_up_token_exists(tx: &mut Tx<'_>) -> Result<bool, StoreError> {
    let waiting = set_up_tokens::table.filter(set_up_tokens::used_at.is_null());
    Ok(select(exists(waiting.select(set_up_tokens::token_hash))).get_result(tx.connection)?)
}

/// Makes a link good and every older one void; refused once somebody is set up.
pub fn put_set_up_token(
    tx: &mut Tx<'_>,
    token: SecretHash,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    one_set_up_at_a_time(tx)?;
    if somebody_is_set_up(tx)? {
        return Err(Conflict::AlreadySetUp.into());
    }
    diesel::delete(set_up_tokens::table.filter(set_up_tokens::used_at.is_null()))
        .execute(tx.connection)?;
    diesel::insert_into(set_up_tokens::table)
        .values((
            set_up_tokens::token_hash.eq(token.to_string()),
            set_up_tokens::made_at.eq(moment(now)),
        ))
        .execute(tx.connection)?;
    Ok(())
}

/// Uses the link up and makes the first coordinator.
pub fn use_set_up_token(
    tx: &mut Tx<'_>,
    token: SecretHash,
    coordinator: &NewPerson,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    one_set_up_at_a_time(tx)?;
    let used = diesel::update(
        set_up_tokens::table
            .filter(set_up_tokens::token_hash.eq(token.to_string()))
            .filter(set_up_tokens::used_at.is_null()),
    )
    .set(set_up_tokens::used_at.eq(moment(now)))
    .execute(tx.connection)?;
    one_row(used, Conflict::CodeUsedUp(CodeFor::SetUp))?;
    if somebody_is_set_up(tx)? {
        return Err(Conflict::AlreadySetUp.into());
    }
    insert_person(tx, coordinator, &ActsFor::Nobody, now)
}

/// Writing a row that everybody who sets up writes is their lock.
fn one_set_up_at_a_time(tx: &mut Tx<'_>) -> Result<(), StoreError> {
    let written = diesel::update(server_state::table.filter(server_state::name.eq("epoch")))
        .set(server_state::value.eq(server_state::value))
        .execute(tx.connection)?;
    one_row(written, StoreError::corrupt("server_state has no epoch"))
}
