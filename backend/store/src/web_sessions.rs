//! The sign-ins of the pages: a cookie's token and the token of their forms, both kept as hashes.

use chrono::{DateTime, Utc};
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, RunQueryDsl};
use spareloop_domain::words::{FarmId, PersonId};

use crate::schema::web_sessions;
use crate::text::{moment, read, read_some};
use crate::{SecretHash, StoreError, Tx};

/// A session about to begin.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NewSession {
    /// The cookie's token.
    pub token: SecretHash,
    /// Whose.
    pub person: PersonId,
    /// The farm on paper that it is bound to, if it is.
    pub acts_for: Option<FarmId>,
    /// The token of its forms.
    pub csrf: SecretHash,
    /// When it stops working.
    pub expires_at: DateTime<Utc>,
}

/// A session that holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WebSession {
    /// Whose.
    pub person: PersonId,
    /// The farm on paper that it is bound to, if it is.
    pub acts_for: Option<FarmId>,
    /// The token of its forms.
    pub csrf: SecretHash,
}

/// Begins a session.
pub fn start(tx: &mut Tx<'_>, new: &NewSession, now: DateTime<Utc>) -> Result<(), StoreError> {
    diesel::insert_into(web_sessions::table)
        .values((
            web_sessions::token_hash.eq(new.token.to_string()),
            web_sessions::person.eq(new.person.to_string()),
            web_sessions::csrf_hash.eq(new.csrf.to_string()),
            web_sessions::made_at.eq(moment(now)),
            web_sessions::expires_at.eq(moment(new.expires_at)),
            web_sessions::acts_for.eq(new.acts_for.map(|farm| farm.to_string())),
        ))
        .execute(tx.connection)?;
    Ok(())
}

/// The session of a cookie, unless it ended or is too old.
pub fn find(
    tx: &mut Tx<'_>,
    token: SecretHash,
    now: DateTime<Utc>,
) -> Result<Option<WebSession>, StoreError> {
    let row: Option<(String, String, Option<String>)> = web_sessions::table
        .filter(web_sessions::token_hash.eq(token.to_string()))
        .filter(web_sessions::expires_at.gt(moment(now)))
        .select((web_sessions::person, web_sessions::csrf_hash, web_sessions::acts_for))
        .first(tx.connection)
        .optional()?;
    row.map(|(person, csrf, acts_for)| {
        Ok(WebSession {
            person: read(&person)?,
            acts_for: read_some(acts_for.as_deref())?,
            csrf: SecretHash::read(&csrf)?,
        })
    })
    .transpose()
}

/// Ends a session.
pub fn end(tx: &mut Tx<'_>, token: SecretHash) -> Result<(), StoreError> {
    diesel::delete(web_sessions::table.find(token.to_string())).execute(tx.connection)?;
    Ok(())
}

/// Ends every session of a person.
pub fn end_all(tx: &mut Tx<'_>, person: PersonId) -> Result<(), StoreError> {
    diesel::delete(web_sessions::table.filter(web_sessions::person.eq(person.to_string())))
        .execute(tx.connection)?;
    Ok(())
}

/// Forgets sessions that are too old; answers how many.
pub fn prune(tx: &mut Tx<'_>, now: DateTime<Utc>) -> Result<usize, StoreError> {
    let old = web_sessions::table.filter(web_sessions::expires_at.le(moment(now)));
    Ok(diesel::delete(old).execute(tx.connection)?)
}
