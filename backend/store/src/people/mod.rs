//! People with a sign-in: who they are and whom they act for.

mod invitations;
mod networks;
pub mod on_paper;
mod set_up;

use std::fmt;
use std::str::FromStr;

use chrono::{DateTime, Utc};
use diesel::{
    ExpressionMethods, JoinOnDsl, NullableExpressionMethods, OptionalExtension, QueryDsl,
    Queryable, RunQueryDsl,
};
use spareloop_domain::words::{FarmId, NetworkId, PersonId};

pub use invitations::{
    Invitation, Joined, NewFarm, NewInvitation, invitations, invite, join, withdraw_invitation,
};
pub(crate) use networks::joined_at;
pub use networks::{Farm, farm, farms, make_network};
pub use set_up::{put_set_up_token, set_up_token_exists, somebody_is_set_up, use_set_up_token};

use crate::error::{one_row, taken};
use crate::schema::{farms as farms_table, networks as networks_table, people};
use crate::text::{moment, read, read_some};
use crate::{Login, Missing, Named, ShownName, StoreError, Taken, Tx};

/// What a person is in the network.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// Runs the network.
    Coordinator,
    /// Acts for a farm.
    Grower,
}

impl Role {
    const fn code(self) -> &'static str {
        match self {
            Self::Coordinator => "coordinator",
            Self::Grower => "grower",
        }
    }
}

impl FromStr for Role {
    type Err = UnknownRole;
    fn from_str(text: &str) -> Result<Self, UnknownRole> {
        [Self::Coordinator, Self::Grower]
            .into_iter()
            .find(|role| role.code() == text)
            .ok_or(UnknownRole)
    }
}

/// A role that this version doesn't know.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UnknownRole;

impl fmt::Display for UnknownRole {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a role that this version doesn't know")
    }
}

/// A person about to be made.
#[derive(Clone, PartialEq, Eq)]
pub struct NewPerson {
    /// Their id.
    pub id: PersonId,
    /// The name to sign in with.
    pub login: Login,
    /// What people call them.
    pub display_name: ShownName,
    /// The password's hash with its parameters, in PHC form.
    pub password_hash: String,
}

/// A person with their password's hash, for signing in.
#[derive(Clone, PartialEq, Eq)]
pub struct Person {
    /// Their id.
    pub id: PersonId,
    /// The name to sign in with.
    pub login: String,
    /// What people call them.
    pub display_name: String,
    /// The password's hash with its parameters, in PHC form.
    pub password_hash: String,
    /// Their part.
    pub role: Role,
    /// Their network.
    pub network: Option<NetworkId>,
    /// The farm they act for.
    pub farm: Option<FarmId>,
}

impl fmt::Debug for NewPerson {
    /// Without the hash.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("NewPerson").field("id", &self.id).finish_non_exhaustive()
    }
}

impl fmt::Debug for Person {
    /// Without the hash.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Person").field("id", &self.id).finish_non_exhaustive()
    }
}

/// Who a signed-in person is and for whom they act.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Me {
    /// The person.
    pub person: PersonId,
    /// The name to sign in with.
    pub login: String,
    /// What people call them.
    pub display_name: String,
    /// Their part.
    pub role: Role,
    /// Their network, once there is one.
    pub network: Option<Named<NetworkId>>,
    /// The farm they act for.
    pub farm: Option<Named<FarmId>>,
}

#[derive(Queryable)]
struct PersonRow {
    id: String,
    login: String,
    _login_key: String,
    display_name: String,
    password_hash: String,
    role: String,
    network: Option<String>,
    farm: Option<String>,
    _made_at: chrono::NaiveDateTime,
}

impl TryFrom<PersonRow> for Person {
    type Error = StoreError;
    fn try_from(row: PersonRow) -> Result<Self, StoreError> {
        Ok(Self {
            id: read(&row.id)?,
            login: row.login,
            display_name: row.display_name,
            password_hash: row.password_hash,
            role: read(&row.role)?,
            network: read_some(row.network.as_deref())?,
            farm: read_some(row.farm.as_deref())?,
        })
    }
}

/// The person who signs in with that name, whatever its case.
pub fn person_by_login(tx: &mut Tx<'_>, login: &Login) -> Result<Option<Person>, StoreError> {
    let row: Option<PersonRow> =
        people::table.filter(people::login_key.eq(login.key())).first(tx.connection).optional()?;
    row.map(Person::try_from).transpose()
}

/// The person of that id.
pub fn person(tx: &mut Tx<'_>, id: PersonId) -> Result<Option<Person>, StoreError> {
    let row: Option<PersonRow> =
        people::table.find(id.to_string()).first(tx.connection).optional()?;
    row.map(Person::try_from).transpose()
}

/// Keeps a new hash, after a sign-in with parameters that have grown since or a new password.
pub fn update_password_hash(
    tx: &mut Tx<'_>,
    id: PersonId,
    password_hash: &str,
) -> Result<(), StoreError> {
    let written = diesel::update(people::table.find(id.to_string()))
        .set(people::password_hash.eq(password_hash))
        .execute(tx.connection)?;
    one_row(written, Missing::Person)
}

type MeRow = (
    String,
    String,
    String,
    String,
    Option<String>,
    Option<String>,
    Option<String>,
    Option<String>,
);

/// Who the person is and for whom they act, in one query.
pub fn me(tx: &mut Tx<'_>, id: PersonId) -> Result<Option<Me>, StoreError> {
    let row: Option<MeRow> = people::table
        .left_join(networks_table::table.on(people::network.eq(networks_table::id.nullable())))
        .left_join(farms_table::table.on(people::farm.eq(farms_table::id.nullable())))
        .filter(people::id.eq(id.to_string()))
        .select((
            people::id,
            people::login,
            people::display_name,
            people::role,
            networks_table::id.nullable(),
            networks_table::name.nullable(),
            farms_table::id.nullable(),
            farms_table::name.nullable(),
        ))
        .first(tx.connection)
        .optional()?;
    let Some((person, login, display_name, role, network, network_name, farm, farm_name)) = row
    else {
        return Ok(None);
    };
    Ok(Some(Me {
        person: read(&person)?,
        login,
        display_name,
        role: read(&role)?,
        network: named(network, network_name)?,
        farm: named(farm, farm_name)?,
    }))
}

fn named<Id: FromStr>(
    id: Option<String>,
    name: Option<String>,
) -> Result<Option<Named<Id>>, StoreError>
where
    Id::Err: fmt::Display,
{
    id.zip(name).map(|(id, name)| Ok(Named { id: read(&id)?, name })).transpose()
}

/// Whom a new person acts for.
enum ActsFor {
    Nobody,
    Farm(NetworkId, FarmId),
}

fn insert_person(
    tx: &mut Tx<'_>,
    new: &NewPerson,
    acts_for: &ActsFor,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let (role, network, farm) = match acts_for {
        ActsFor::Nobody => (Role::Coordinator, None, None),
        ActsFor::Farm(network, farm) => {
            (Role::Grower, Some(network.to_string()), Some(farm.to_string()))
        }
    };
    diesel::insert_into(people::table)
        .values((
            people::id.eq(new.id.to_string()),
            people::login.eq(new.login.as_str()),
            people::login_key.eq(new.login.key()),
            people::display_name.eq(new.display_name.as_str()),
            people::password_hash.eq(&new.password_hash),
            people::role.eq(role.code()),
            people::network.eq(network),
            people::farm.eq(farm),
            people::made_at.eq(moment(now)),
        ))
        .execute(tx.connection)
        .map_err(taken(Taken::Login))?;
    Ok(())
}
