//! Families of refresh tokens. A sign-in begins a family; each refresh takes its next number. A
//! number used twice means that somebody else has the token too, and ends the family, unless the
//! reply to its first use may just have been lost.

use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, RunQueryDsl};
use spareloop_domain::words::{FarmId, PersonId};
use uuid::Uuid;

use crate::schema::sign_in_families;
use crate::text::{moment, read, read_some};
use crate::{StoreError, Tx, fresh};

/// A family just begun.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Family {
    /// Its id.
    pub id: Uuid,
    /// The number of its first refresh token.
    pub number: i64,
}

/// A family's state.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FamilyState {
    /// Whose.
    pub person: PersonId,
    /// When it stops working.
    pub expires_at: DateTime<Utc>,
    /// When it was ended.
    pub ended_at: Option<DateTime<Utc>>,
    /// The farm on paper that it is bound to, if it is.
    pub acts_for: Option<FarmId>,
}

/// What a refresh came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rotation {
    /// The next number.
    Next(i64),
    /// The number before was sent again within the grace: the same successor as then.
    SameSuccessor(i64),
    /// An old number was sent: the family is ended now.
    ReuseEnded,
    /// The family was ended before, or is not known here.
    Ended,
    /// The family is too old.
    Expired,
}

/// Why a family was ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EndedWhy {
    /// Signed out.
    SignedOut,
    /// A token was used twice.
    Reused,
    /// The password was changed.
    PasswordChanged,
}

impl EndedWhy {
    const fn code(self) -> &'static str {
        match self {
            Self::SignedOut => "signed-out",
            Self::Reused => "reused",
            Self::PasswordChanged => "password-changed",
        }
    }
}

/// Begins a family.
pub fn start(
    tx: &mut Tx<'_>,
    person: PersonId,
    acts_for: Option<FarmId>,
    expires_at: DateTime<Utc>,
    now: DateTime<Utc>,
) -> Result<Family, StoreError> {
    let family = Family { id: fresh::uuid(now)?, number: 1 };
    diesel::insert_into(sign_in_families::table)
        .values((
            sign_in_families::id.eq(family.id.to_string()),
            sign_in_families::person.eq(person.to_string()),
            sign_in_families::newest.eq(family.number),
            sign_in_families::rotated_at.eq(moment(now)),
            sign_in_families::expires_at.eq(moment(expires_at)),
            sign_in_families::acts_for.eq(acts_for.map(|farm| farm.to_string())),
        ))
        .execute(tx.connection)?;
    Ok(family)
}

/// Takes the next number for the one presented. The transaction must be committed also when the
/// family was ended by it.
pub fn rotate(
    tx: &mut Tx<'_>,
    family: Uuid,
    presented: i64,
    now: DateTime<Utc>,
    grace: TimeDelta,
) -> Result<Rotation, StoreError> {
    // One guarded UPDATE, so that of two with the same number only one takes the next.
    let next: Option<i64> = diesel::update(
        sign_in_families::table
            .filter(sign_in_families::id.eq(family.to_string()))
            .filter(sign_in_families::newest.eq(presented))
            .filter(sign_in_families::ended_at.is_null())
            .filter(sign_in_families::expires_at.gt(moment(now))),
    )
    .set((
        sign_in_families::newest.eq(sign_in_families::newest + 1),
        sign_in_families::rotated_at.eq(moment(now)),
    ))
    .returning(sign_in_families::newest)
    .get_result(tx.connection)
    .optional()?;
    match next {
        Some(next) => Ok(Rotation::Next(next)),
        None => why_not(tx, family, presented, now, grace),
    }
}

fn why_not(
    tx: &mut Tx<'_>,
    family: Uuid,
    presented: i64,
    now: DateTime<Utc>,
    grace: TimeDelta,
) -> Result<Rotation, StoreError> {
    type Row = (i64, NaiveDateTime, NaiveDateTime, Option<NaiveDateTime>);
    let row: Option<Row> = sign_in_families::table
        .find(family.to_string())
        .select((
            sign_in_families::newest,
            sign_in_families::rotated_at,
            sign_in_families::expires_at,
            sign_in_families::ended_at,
        ))
        .first(tx.connection)
        .optional()?;
    let Some((newest, rotated_at, expires_at, None)) = row else {
        return Ok(Rotation::Ended);
    };
    if expires_at <= moment(now) {
        return Ok(Rotation::Expired);
    }
    if presented > newest {
        // Given out before the server was restored from an older copy: nobody's fault.
        return Ok(Rotation::Ended);
    }
    if presented == newest - 1 && moment(now) - rotated_at <= grace {
        return Ok(Rotation::SameSuccessor(newest));
    }
    end(tx, family, EndedWhy::Reused, now)?;
    Ok(Rotation::ReuseEnded)
}

/// Ends a family; one that is ended already stays as it was.
pub fn end(
    tx: &mut Tx<'_>,
    family: Uuid,
    why: EndedWhy,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    diesel::update(
        sign_in_families::table
            .filter(sign_in_families::id.eq(family.to_string()))
            .filter(sign_in_families::ended_at.is_null()),
    )
    .set((
        sign_in_families::ended_at.eq(Some(moment(now))),
        sign_in_families::ended_why.eq(Some(why.code())),
    ))
    .execute(tx.connection)?;
    Ok(())
}

/// Ends every family of a person, when the password was changed.
pub fn end_all(tx: &mut Tx<'_>, person: PersonId, now: DateTime<Utc>) -> Result<(), StoreError> {
    diesel::update(
        sign_in_families::table
            .filter(sign_in_families::person.eq(person.to_string()))
            .filter(sign_in_families::ended_at.is_null()),
    )
    .set((
        sign_in_families::ended_at.eq(Some(moment(now))),
        sign_in_families::ended_why.eq(Some(EndedWhy::PasswordChanged.code())),
    ))
    .execute(tx.connection)?;
    Ok(())
}

/// A family's state, for the check of an access token.
pub fn state(tx: &mut Tx<'_>, family: Uuid) -> Result<Option<FamilyState>, StoreError> {
    type Row = (String, NaiveDateTime, Option<NaiveDateTime>, Option<String>);
    let row: Option<Row> = sign_in_families::table
        .find(family.to_string())
        .select((
            sign_in_families::person,
            sign_in_families::expires_at,
            sign_in_families::ended_at,
            sign_in_families::acts_for,
        ))
        .first(tx.connection)
        .optional()?;
    row.map(|(person, expires_at, ended_at, acts_for)| {
        Ok(FamilyState {
            person: read(&person)?,
            expires_at: expires_at.and_utc(),
            ended_at: ended_at.map(|at| at.and_utc()),
            acts_for: read_some(acts_for.as_deref())?,
        })
    })
    .transpose()
}

/// Forgets families that expired; answers how many.
pub fn prune(tx: &mut Tx<'_>, now: DateTime<Utc>) -> Result<usize, StoreError> {
    let old = sign_in_families::table.filter(sign_in_families::expires_at.le(moment(now)));
    Ok(diesel::delete(old).execute(tx.connection)?)
}
