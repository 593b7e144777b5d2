//! Devices that keep a farm's ledger, and the house device on whose chain the server writes.

use chrono::{DateTime, NaiveDateTime, Utc};
use diesel::dsl::exists;
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, RunQueryDsl, select};
use spareloop_domain::words::{DeviceId, FarmId, NetworkId};

use crate::error::taken;
use crate::schema::{devices, entries, farms};
use crate::text::{moment, read};
use crate::{Conflict, Missing, SecretHash, ShownName, StoreError, Taken, Tx, fresh};

const FARMS_OWN: &str = "farm";
const HOUSE: &str = "house";

/// A device of a farm.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Device {
    /// Its id.
    pub id: DeviceId,
    /// Its name.
    pub name: String,
    /// When it was made known.
    pub registered_at: DateTime<Utc>,
    /// When it was shut out.
    pub shut_out_at: Option<DateTime<Utc>>,
}

/// Whose device a token belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DeviceSignIn {
    /// The device.
    pub device: DeviceId,
    /// Its farm.
    pub farm: FarmId,
    /// The farm's network.
    pub network: NetworkId,
    /// Whether it may still come in.
    pub standing: Standing,
}

/// Whether a device may come in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// It may.
    Welcome,
    /// It was shut out; its entries stay.
    ShutOut,
}

/// Makes a device of the farm known, or gives a known one a new token and lets it in again.
///
/// A device id that another farm has is refused.
pub fn register(
    tx: &mut Tx<'_>,
    farm: FarmId,
    device: DeviceId,
    name: &ShownName,
    token: SecretHash,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let known = diesel::update(
        devices::table
            .filter(devices::farm.eq(farm.to_string()))
            .filter(devices::id.eq(device.to_string()))
            .filter(devices::kind.eq(FARMS_OWN)),
    )
    .set((
        devices::name.eq(name.as_str()),
        devices::token_hash.eq(Some(token.to_string())),
        devices::shut_out_at.eq(None::<NaiveDateTime>),
    ))
    .execute(tx.connection)?;
    if known == 1 {
        return Ok(());
    }
    if another_farm_writes_with(tx, farm, device)? {
        return Err(Conflict::AlreadyTaken(Taken::Device).into());
    }
    diesel::insert_into(devices::table)
        .values((
            devices::id.eq(device.to_string()),
            devices::farm.eq(farm.to_string()),
            devices::kind.eq(FARMS_OWN),
            devices::name.eq(name.as_str()),
            devices::token_hash.eq(Some(token.to_string())),
            devices::registered_at.eq(moment(now)),
        ))
        .execute(tx.connection)
        .map_err(taken(Taken::Device))?;
    Ok(())
}

/// A device may have written before it was made known here, when the server was restored.
fn another_farm_writes_with(
    tx: &mut Tx<'_>,
    farm: FarmId,
    device: DeviceId,
) -> Result<bool, StoreError> {
    let theirs = entries::table
        .filter(entries::device.eq(device.to_string()))
        .filter(entries::farm.ne(farm.to_string()));
    Ok(select(exists(theirs.select(entries::position))).get_result(tx.connection)?)
}

/// Whose device the token belongs to.
pub fn by_token_hash(
    tx: &mut Tx<'_>,
    token: SecretHash,
) -> Result<Option<DeviceSignIn>, StoreError> {
    let row: Option<(String, String, String, Option<NaiveDateTime>)> = devices::table
        .inner_join(farms::table)
        .filter(devices::token_hash.eq(token.to_string()))
        .select((devices::id, devices::farm, farms::network, devices::shut_out_at))
        .first(tx.connection)
        .optional()?;
    row.map(|(device, farm, network, shut_out)| {
        Ok(DeviceSignIn {
            device: read(&device)?,
            farm: read(&farm)?,
            network: read(&network)?,
            standing: if shut_out.is_some() { Standing::ShutOut } else { Standing::Welcome },
        })
    })
    .transpose()
}

/// The farm's own devices, oldest first.
pub fn list(tx: &mut Tx<'_>, farm: FarmId) -> Result<Vec<Device>, StoreError> {
    let rows: Vec<(String, String, NaiveDateTime, Option<NaiveDateTime>)> = devices::table
        .filter(devices::farm.eq(farm.to_string()))
        .filter(devices::kind.eq(FARMS_OWN))
        .order((devices::registered_at, devices::id))
        .select((devices::id, devices::name, devices::registered_at, devices::shut_out_at))
        .load(tx.connection)?;
    rows.into_iter()
        .map(|(id, name, registered_at, shut_out_at)| {
            Ok(Device {
                id: read(&id)?,
                name,
                registered_at: registered_at.and_utc(),
                shut_out_at: shut_out_at.map(|at| at.and_utc()),
            })
        })
        .collect()
}

/// Shuts a device of the farm out; shutting it out again changes nothing.
pub fn shut_out(
    tx: &mut Tx<'_>,
    farm: FarmId,
    device: DeviceId,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let shut_out_at: Option<Option<NaiveDateTime>> = devices::table
        .filter(devices::farm.eq(farm.to_string()))
        .filter(devices::id.eq(device.to_string()))
        .filter(devices::kind.eq(FARMS_OWN))
        .select(devices::shut_out_at)
        .first(tx.connection)
        .optional()?;
    if shut_out_at.ok_or(Missing::Device)?.is_some() {
        return Ok(());
    }
    diesel::update(
        devices::table
            .filter(devices::farm.eq(farm.to_string()))
            .filter(devices::id.eq(device.to_string())),
    )
    .set(devices::shut_out_at.eq(Some(moment(now))))
    .execute(tx.connection)?;
    Ok(())
}

/// Shuts every device of a farm out; its entries stay.
pub(crate) fn shut_out_all(
    tx: &mut Tx<'_>,
    farm: FarmId,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    diesel::update(
        devices::table
            .filter(devices::farm.eq(farm.to_string()))
            .filter(devices::kind.eq(FARMS_OWN))
            .filter(devices::shut_out_at.is_null()),
    )
    .set(devices::shut_out_at.eq(Some(moment(now))))
    .execute(tx.connection)?;
    Ok(())
}

/// Makes a device known that another one of the farm speaks for, by bringing entries of its chain:
/// the server was put back from a copy that is older than it. It has a token that nobody holds, and
/// gets one when it signs in.
pub(crate) fn insert_brought(
    tx: &mut Tx<'_>,
    farm: FarmId,
    device: DeviceId,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    diesel::insert_into(devices::table)
        .values((
            devices::id.eq(device.to_string()),
            devices::farm.eq(farm.to_string()),
            devices::kind.eq(FARMS_OWN),
            devices::name.eq("brought by another device"),
            devices::token_hash.eq(Some(SecretHash::from(fresh::bytes()?).to_string())),
            devices::registered_at.eq(moment(now)),
        ))
        .execute(tx.connection)
        .map_err(taken(Taken::Device))?;
    Ok(())
}

/// What the server knows of a device whose entries are brought.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Known {
    /// A device of the farm, shut out or not: its entries stay welcome.
    Farms,
    /// A house device of the farm's, past or present.
    House,
    /// Another farm's.
    Others,
    /// Registered nowhere.
    Nowhere,
}

pub(crate) fn known(tx: &mut Tx<'_>, farm: FarmId, device: DeviceId) -> Result<Known, StoreError> {
    let row: Option<(String, String)> = devices::table
        .find(device.to_string())
        .select((devices::farm, devices::kind))
        .first(tx.connection)
        .optional()?;
    Ok(match row {
        None => Known::Nowhere,
        Some((owner, _)) if owner != farm.to_string() => Known::Others,
        Some((_, kind)) if kind == HOUSE => Known::House,
        Some(_) => Known::Farms,
    })
}

/// How many devices the farm has, house devices among them.
pub(crate) fn count(tx: &mut Tx<'_>, farm: FarmId) -> Result<usize, StoreError> {
    let count: i64 = devices::table
        .filter(devices::farm.eq(farm.to_string()))
        .count()
        .get_result(tx.connection)?;
    usize::try_from(count).map_err(StoreError::corrupt)
}

pub(crate) fn insert_house(
    tx: &mut Tx<'_>,
    farm: FarmId,
    device: DeviceId,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    diesel::insert_into(devices::table)
        .values((
            devices::id.eq(device.to_string()),
            devices::farm.eq(farm.to_string()),
            devices::kind.eq(HOUSE),
            devices::name.eq("house"),
            devices::registered_at.eq(moment(now)),
        ))
        .execute(tx.connection)?;
    Ok(())
}

/// Gives every farm a new house device, after a restore: the old chains may have gone on elsewhere.
///
/// Answers how many farms there are.
pub fn new_house_devices(tx: &mut Tx<'_>, now: DateTime<Utc>) -> Result<usize, StoreError> {
    let all: Vec<String> = farms::table.select(farms::id).order(farms::id).load(tx.connection)?;
    for farm in &all {
        let device = DeviceId::new(fresh::uuid(now)?);
        insert_house(tx, read(farm)?, device, now)?;
        diesel::update(farms::table.find(farm))
            .set(farms::house_device.eq(device.to_string()))
            .execute(tx.connection)?;
    }
    Ok(all.len())
}
