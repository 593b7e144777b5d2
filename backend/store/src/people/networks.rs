//! Networks and the farms in them.

use chrono::{DateTime, NaiveDateTime, Utc};
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, RunQueryDsl};
use spareloop_domain::words::{DeviceId, FarmId, NetworkId, PersonId};

use super::Role;
use crate::error::one_row;
use crate::schema::{farms as farms_table, networks, people};
use crate::text::{moment, read};
use crate::{Conflict, Missing, Named, Refused, ShownName, StoreError, Tx, fresh};

/// A farm of a network.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Farm {
    /// Its id.
    pub id: FarmId,
    /// Its network.
    pub network: NetworkId,
    /// Its name.
    pub name: String,
    /// The device on whose chain the server writes.
    pub house_device: DeviceId,
}

/// Makes a network, run by a coordinator who has none yet.
pub fn make_network(
    tx: &mut Tx<'_>,
    by: PersonId,
    name: &ShownName,
    now: DateTime<Utc>,
) -> Result<Named<NetworkId>, StoreError> {
    let id = NetworkId::new(fresh::uuid(now)?);
    diesel::insert_into(networks::table)
        .values((
            networks::id.eq(id.to_string()),
            networks::name.eq(name.as_str()),
            networks::made_at.eq(moment(now)),
        ))
        .execute(tx.connection)?;
    let person = super::person(tx, by)?.ok_or(Missing::Person)?;
    if person.role != Role::Coordinator {
        return Err(Refused::NotACoordinator.into());
    }
    let written = diesel::update(
        people::table.filter(people::id.eq(by.to_string())).filter(people::network.is_null()),
    )
    .set(people::network.eq(id.to_string()))
    .execute(tx.connection)?;
    one_row(written, Conflict::HasNetwork)?;
    Ok(Named { id, name: name.to_string() })
}

/// One farm of the network.
pub fn farm(tx: &mut Tx<'_>, network: NetworkId, id: FarmId) -> Result<Farm, StoreError> {
    let row: Option<FarmRow> = farms_table::table
        .filter(farms_table::network.eq(network.to_string()))
        .filter(farms_table::id.eq(id.to_string()))
        .select(FARM)
        .first(tx.connection)
        .optional()?;
    row.ok_or(Missing::Farm)?.try_into_farm()
}

/// When a farm of the network joined it.
pub(crate) fn joined_at(
    tx: &mut Tx<'_>,
    network: NetworkId,
    id: FarmId,
) -> Result<DateTime<Utc>, StoreError> {
    let at: Option<NaiveDateTime> = farms_table::table
        .filter(farms_table::network.eq(network.to_string()))
        .filter(farms_table::id.eq(id.to_string()))
        .select(farms_table::joined_at)
        .first(tx.connection)
        .optional()?;
    Ok(at.ok_or(Missing::Farm)?.and_utc())
}

/// Every farm of the network, by id.
pub fn farms(tx: &mut Tx<'_>, network: NetworkId) -> Result<Vec<Farm>, StoreError> {
    let rows: Vec<FarmRow> = farms_table::table
        .filter(farms_table::network.eq(network.to_string()))
        .order(farms_table::id)
        .select(FARM)
        .load(tx.connection)?;
    rows.into_iter().map(FarmRow::try_into_farm).collect()
}

const FARM: (farms_table::id, farms_table::network, farms_table::name, farms_table::house_device) =
    (farms_table::id, farms_table::network, farms_table::name, farms_table::house_device);

#[derive(diesel::Queryable)]
struct FarmRow {
    id: String,
    network: String,
    name: String,
    house_device: String,
}

impl FarmRow {
    fn try_into_farm(self) -> Result<Farm, StoreError> {
        Ok(Farm {
            id: read(&self.id)?,
            network: read(&self.network)?,
            name: self.name,
            house_device: read(&self.house_device)?,
        })
    }
}
