//! Where farms roughly are, as each says itself. Other farms are told distances, never the place.
//!
//! What may not enter: how a distance is reckoned, and whether it is too far, which `domain` says.

use chrono::{DateTime, Utc};
use diesel::sql_types::{BigInt, Text, Timestamp};
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, RunQueryDsl, sql_query};
use spareloop_domain::exchange::Whereabouts;
use spareloop_domain::exchange::distance::Places;
use spareloop_domain::words::{FarmId, NetworkId};

use crate::schema::farm_whereabouts;
use crate::text::{moment, read};
use crate::{StoreError, Tx, people};

/// Notes where the farm is, or that it doesn't say any more.
pub fn set(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
    place: Option<Whereabouts>,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    people::farm(tx, network, farm)?;
    let Some(place) = place else {
        diesel::delete(farm_whereabouts::table.find(farm.to_string())).execute(tx.connection)?;
        return Ok(());
    };
    let (latitude, longitude) = place.steps();
    sql_query(
        "INSERT INTO farm_whereabouts (farm, network, latitude, longitude, set_at) \
         VALUES ($1, $2, $3, $4, $5) ON CONFLICT (farm) DO UPDATE SET \
         latitude = excluded.latitude, longitude = excluded.longitude, set_at = excluded.set_at",
    )
    .bind::<Text, _>(farm.to_string())
    .bind::<Text, _>(network.to_string())
    .bind::<BigInt, _>(i64::from(latitude))
    .bind::<BigInt, _>(i64::from(longitude))
    .bind::<Timestamp, _>(moment(now))
    .execute(tx.connection)?;
    Ok(())
}

/// Where the farm said it is, if it did.
pub fn of_farm(tx: &mut Tx<'_>, farm: FarmId) -> Result<Option<Whereabouts>, StoreError> {
    let row: Option<(i64, i64)> = farm_whereabouts::table
        .find(farm.to_string())
        .select((farm_whereabouts::latitude, farm_whereabouts::longitude))
        .first(tx.connection)
        .optional()?;
    row.map(place).transpose()
}

/// Where the farms of a network said they are.
pub fn of_network(tx: &mut Tx<'_>, network: NetworkId) -> Result<Places, StoreError> {
    let rows = farm_whereabouts::table
        .filter(farm_whereabouts::network.eq(network.to_string()))
        .select((farm_whereabouts::farm, farm_whereabouts::latitude, farm_whereabouts::longitude))
        .load(tx.connection)?;
    places(rows)
}

/// Where two farms said they are.
pub fn of_two(tx: &mut Tx<'_>, (one, other): (FarmId, FarmId)) -> Result<Places, StoreError> {
    let rows = farm_whereabouts::table
        .filter(farm_whereabouts::farm.eq_any([one.to_string(), other.to_string()]))
        .select((farm_whereabouts::farm, farm_whereabouts::latitude, farm_whereabouts::longitude))
        .load(tx.connection)?;
    places(rows)
}

fn places(rows: Vec<(String, i64, i64)>) -> Result<Places, StoreError> {
    let places = rows
        .into_iter()
        .map(|(farm, latitude, longitude)| Ok((read(&farm)?, place((latitude, longitude))?)));
    Ok(Places(places.collect::<Result<_, StoreError>>()?))
}

fn place((latitude, longitude): (i64, i64)) -> Result<Whereabouts, StoreError> {
    Whereabouts::of_steps(latitude, longitude).map_err(StoreError::corrupt)
}
