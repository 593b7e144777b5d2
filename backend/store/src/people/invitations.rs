//! Invitations, and how a farm joins by one.

use chrono::{DateTime, NaiveDateTime, Utc};
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, RunQueryDsl};
use spareloop_domain::words::{DeviceId, FarmId, InvitationId, NetworkId, PersonId, fold_key};

use super::{ActsFor, NewPerson, insert_person};
use crate::error::{one_row, taken};
use crate::schema::{farms, invitations as invitations_table, networks};
use crate::text::{moment, read};
use crate::{
    CodeFor, Conflict, Missing, SecretHash, ShownName, StoreError, Taken, Tx, devices, fresh,
};

/// An invitation about to be made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewInvitation {
    /// Its id.
    pub id: InvitationId,
    /// Who it is for, to tell invitations apart.
    pub for_whom: ShownName,
    /// The hash of its code.
    pub code: SecretHash,
    /// When it stops working.
    pub expires_at: DateTime<Utc>,
}

/// An invitation as its network's coordinator sees it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Invitation {
    /// Its id.
    pub id: InvitationId,
    /// Who it is for.
    pub for_whom: String,
    /// When it was made.
    pub made_at: DateTime<Utc>,
    /// When it stops working.
    pub expires_at: DateTime<Utc>,
    /// When it was used.
    pub used_at: Option<DateTime<Utc>>,
}

/// A farm about to join.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewFarm {
    /// Its id, made by its client.
    pub id: FarmId,
    /// Its name.
    pub name: ShownName,
}

/// What joining made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Joined {
    /// The network.
    pub network: NetworkId,
    /// The device on whose chain the server writes for the farm.
    pub house_device: DeviceId,
}

/// Makes an invitation to the network.
pub fn invite(
    tx: &mut Tx<'_>,
    network: NetworkId,
    by: PersonId,
    new: &NewInvitation,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    diesel::insert_into(invitations_table::table)
        .values((
            invitations_table::id.eq(new.id.to_string()),
            invitations_table::network.eq(network.to_string()),
            invitations_table::invited_by.eq(by.to_string()),
            invitations_table::for_whom.eq(new.for_whom.as_str()),
            invitations_table::code_hash.eq(new.code.to_string()),
            invitations_table::made_at.eq(moment(now)),
            invitations_table::expires_at.eq(moment(new.expires_at)),
        ))
        .execute(tx.connection)?;
    Ok(())
}

/// The network's invitations that were not withdrawn, newest first.
pub fn invitations(tx: &mut Tx<'_>, network: NetworkId) -> Result<Vec<Invitation>, StoreError> {
    type Row = (String, String, NaiveDateTime, NaiveDateTime, Option<NaiveDateTime>);
    let rows: Vec<Row> = invitations_table::table
        .filter(invitations_table::network.eq(network.to_string()))
        .filter(invitations_table::withdrawn_at.is_null())
        .order((invitations_table::made_at.desc(), invitations_table::id.desc()))
        .select((
            invitations_table::id,
            invitations_table::for_whom,
            invitations_table::made_at,
            invitations_table::expires_at,
            invitations_table::used_at,
        ))
        .load(tx.connection)?;
    rows.into_iter()
        .map(|(id, for_whom, made_at, expires_at, used_at)| {
            Ok(Invitation {
                id: read(&id)?,
                for_whom,
                made_at: made_at.and_utc(),
                expires_at: expires_at.and_utc(),
                used_at: used_at.map(|at| at.and_utc()),
            })
        })
        .collect()
}

/// Withdraws an invitation of the network that wasn't used.
pub fn withdraw_invitation(
    tx: &mut Tx<'_>,
    network: NetworkId,
    id: InvitationId,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let written = diesel::update(
        invitations_table::table
            .filter(invitations_table::network.eq(network.to_string()))
            .filter(invitations_table::id.eq(id.to_string()))
            .filter(invitations_table::used_at.is_null())
            .filter(invitations_table::withdrawn_at.is_null()),
    )
    .set(invitations_table::withdrawn_at.eq(moment(now)))
    .execute(tx.connection)?;
    one_row(written, Missing::Invitation)
}

/// A farm joins by the code of an invitation: farm, house device and person are made together, and
/// the code is used up, or none of it happens.
pub fn join(
    tx: &mut Tx<'_>,
    code: SecretHash,
    person: &NewPerson,
    farm: &NewFarm,
    now: DateTime<Utc>,
) -> Result<Joined, StoreError> {
    let (invitation, network) = lock_invitation(tx, code, now)?;
    let house_device = insert_farm(tx, network, farm, now)?;
    insert_person(tx, person, &ActsFor::Farm(network, farm.id), now)?;
    diesel::update(invitations_table::table.find(&invitation))
        .set((
            invitations_table::used_at.eq(Some(moment(now))),
            invitations_table::used_by.eq(Some(farm.id.to_string())),
        ))
        .execute(tx.connection)?;
    Ok(Joined { network, house_device })
}

/// Makes a farm of the network, with its house device.
pub(super) fn insert_farm(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: &NewFarm,
    now: DateTime<Utc>,
) -> Result<DeviceId, StoreError> {
    check_name(tx, network, &farm.name)?;
    let house_device = DeviceId::new(fresh::uuid(now)?);
    diesel::insert_into(farms::table)
        .values((
            farms::id.eq(farm.id.to_string()),
            farms::network.eq(network.to_string()),
            farms::name.eq(farm.name.as_str()),
            farms::house_device.eq(house_device.to_string()),
            farms::joined_at.eq(moment(now)),
        ))
        .execute(tx.connection)
        .map_err(taken(Taken::Farm))?;
    devices::insert_house(tx, farm.id, house_device, now)?;
    Ok(house_device)
}

/// Messages, statements and lists name farms, so no two of a network have names that look alike. The
/// network's row is locked, so that of two who come at once with one name the second is told.
fn check_name(tx: &mut Tx<'_>, network: NetworkId, name: &ShownName) -> Result<(), StoreError> {
    diesel::update(networks::table.find(network.to_string()))
        .set(networks::name.eq(networks::name))
        .execute(tx.connection)?;
    let names: Vec<String> = farms::table
        .filter(farms::network.eq(network.to_string()))
        .select(farms::name)
        .load(tx.connection)?;
    if names.iter().any(|known| fold_key(known) == name.key()) {
        return Err(Conflict::AlreadyTaken(Taken::FarmName).into());
    }
    Ok(())
}

/// Writing the row locks it, so that of two who come with one code the second finds it used up.
fn lock_invitation(
    tx: &mut Tx<'_>,
    code: SecretHash,
    now: DateTime<Utc>,
) -> Result<(String, NetworkId), StoreError> {
    let row: Option<(String, String)> = diesel::update(
        invitations_table::table
            .filter(invitations_table::code_hash.eq(code.to_string()))
            .filter(invitations_table::used_at.is_null())
            .filter(invitations_table::withdrawn_at.is_null())
            .filter(invitations_table::expires_at.gt(moment(now))),
    )
    .set(invitations_table::for_whom.eq(invitations_table::for_whom))
    .returning((invitations_table::id, invitations_table::network))
    .get_result(tx.connection)
    .optional()?;
    let (id, network) = row.ok_or(Conflict::CodeUsedUp(CodeFor::Joining))?;
    Ok((id, read(&network)?))
}
