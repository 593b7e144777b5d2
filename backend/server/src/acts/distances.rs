//! Where farms roughly are, and how far that is.

use spareloop_api::distances::{DegreesView, DistancesView, FarmDistance, SetWhereabouts};
use spareloop_domain::exchange::Whereabouts;
use spareloop_store::{StoreError, Tx, whereabouts};

use super::exchange::farms_of;
use super::refused;
use crate::auth::caller::Grower;
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::Key;

/// Where the caller's farm says it is, and how far the others are.
pub async fn view(house: &House, grower: Grower) -> Result<DistancesView, ServerError> {
    house.read(move |tx| all(tx, grower)).await
}

/// Says where the caller's farm is, or that nobody is told any more.
pub async fn set(
    house: &House,
    grower: Grower,
    key: &Key,
    request: SetWhereabouts,
) -> Result<DistancesView, ServerError> {
    let act = key.act(&house.keys, grower.person, "set whereabouts", &request)?;
    let place = request
        .whereabouts
        .map(|at| Whereabouts::of_degrees(at.latitude, at.longitude))
        .transpose()
        .map_err(|why| refused("whereabouts", why))?;
    let now = house.now();
    house
        .settle(act, move |tx| {
            whereabouts::set(tx, grower.network, grower.farm, place, now)?;
            all(tx, grower)
        })
        .await
}

fn all(tx: &mut Tx<'_>, grower: Grower) -> Result<DistancesView, StoreError> {
    let places = whereabouts::of_network(tx, grower.network)?;
    let own = places.0.get(&grower.farm);
    let mut farms: Vec<FarmDistance> = farms_of(tx, grower.network)?
        .into_values()
        .filter(|farm| farm.id != grower.farm)
        .map(|farm| FarmDistance { distance_km: places.between(grower.farm, farm.id), farm })
        .collect();
    farms.sort_by_key(|one| (one.distance_km.is_none(), one.distance_km));
    Ok(DistancesView {
        whereabouts: own
            .map(|at| DegreesView { latitude: at.latitude(), longitude: at.longitude() }),
        farms,
    })
}
