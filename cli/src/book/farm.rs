//! The farm and its devices, as this device knows them.

use diesel::prelude::*;
use diesel::sqlite::SqliteConnection;
use spareloop_domain::ledger::Seq;
use spareloop_domain::words::{Day, DeviceId, FarmId};

use super::BookError;
use super::schema::{devices, farm};

/// The farm whose book this is.
#[derive(Debug, Clone, PartialEq)]
pub struct Farm {
    /// Its id, made here or learned from the server.
    pub id: FarmId,
    /// Its name.
    pub name: String,
    /// How sure to be that enough comes up, strictly between 0 and 1.
    pub service_level: f64,
    /// The planting day that plans take unless told.
    pub planting: Option<Day>,
}

/// This device, or one that it was before a fork.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Device {
    /// Its id.
    pub id: DeviceId,
    /// "laptop in the house".
    pub name: String,
    /// Entries up to this place may have left the device.
    pub sent: u64,
}

#[derive(Queryable)]
struct FarmRow {
    _one: i32,
    id: String,
    name: String,
    service_level: f64,
    planting: Option<String>,
}

pub(super) fn odd<E: std::fmt::Display>(error: E) -> BookError {
    BookError::OddRow(error.to_string())
}

/// The farm, if the book has one.
pub fn find(connection: &mut SqliteConnection) -> Result<Option<Farm>, BookError> {
    let row: Option<FarmRow> = farm::table.first(connection).optional()?;
    row.map(|row| {
        Ok(Farm {
            id: row.id.parse().map_err(odd)?,
            name: row.name,
            service_level: row.service_level,
            planting: row.planting.map(|day| day.parse()).transpose().map_err(odd)?,
        })
    })
    .transpose()
}

/// The farm's id as it is written, if the book has a farm.
pub(super) fn raw_id(connection: &mut SqliteConnection) -> QueryResult<Option<String>> {
    farm::table.select(farm::id).first(connection).optional()
}

/// The farm, or the error that there is none yet.
pub fn get(connection: &mut SqliteConnection) -> Result<Farm, BookError> {
    find(connection)?.ok_or(BookError::NoFarm)
}

/// Writes the farm into a book that has none, or corrects what it says.
pub fn put(connection: &mut SqliteConnection, it: &Farm) -> Result<(), BookError> {
    let values = (
        farm::one.eq(1),
        farm::id.eq(it.id.to_string()),
        farm::name.eq(&it.name),
        farm::service_level.eq(it.service_level),
        farm::planting.eq(it.planting.map(|day| day.to_string())),
    );
    diesel::replace_into(farm::table).values(values).execute(connection)?;
    Ok(())
}

/// This device.
pub fn device(connection: &mut SqliteConnection) -> Result<Device, BookError> {
    let row: Option<(String, String, i64)> = devices::table
        .filter(devices::state.eq("current"))
        .select((devices::id, devices::name, devices::sent_seq))
        .first(connection)
        .optional()?;
    let (id, name, sent) = row.ok_or(BookError::NoFarm)?;
    Ok(Device { id: id.parse().map_err(odd)?, name, sent: u64::try_from(sent).unwrap_or(0) })
}

/// Ids that this device had before, by forks.
pub fn retired_devices(connection: &mut SqliteConnection) -> Result<Vec<DeviceId>, BookError> {
    let ids: Vec<String> = devices::table
        .filter(devices::state.eq("retired"))
        .order(devices::made_at)
        .select(devices::id)
        .load(connection)?;
    ids.iter().map(|id| id.parse().map_err(odd)).collect()
}

/// Makes `id` this device's id from now on; the one before is retired.
pub fn become_device(
    connection: &mut SqliteConnection,
    id: DeviceId,
    name: &str,
    wall_millis: u64,
) -> Result<(), BookError> {
    diesel::update(devices::table.filter(devices::state.eq("current")))
        .set(devices::state.eq("retired"))
        .execute(connection)?;
    diesel::insert_into(devices::table)
        .values((
            devices::id.eq(id.to_string()),
            devices::name.eq(name),
            devices::made_at.eq(i64::try_from(wall_millis).unwrap_or(i64::MAX)),
            devices::sent_seq.eq(0),
            devices::state.eq("current"),
        ))
        .execute(connection)?;
    Ok(())
}

/// Notes, before they are sent, that entries up to `seq` may leave this device.
pub fn mark_sent(
    connection: &mut SqliteConnection,
    device: DeviceId,
    seq: Seq,
) -> Result<(), BookError> {
    let seq = i64::try_from(seq.get()).unwrap_or(i64::MAX);
    diesel::update(devices::table.filter(devices::id.eq(device.to_string())))
        .filter(devices::sent_seq.lt(seq))
        .set(devices::sent_seq.eq(seq))
        .execute(connection)?;
    Ok(())
}
