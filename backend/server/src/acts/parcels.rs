//! How what was agreed travels: terms, packing, pauses.

use spareloop_api::exchange::HoldView;
use spareloop_api::parcels::{PauseParcel, ProposeParcel};
use spareloop_domain::exchange::parcel::Terms;
use spareloop_domain::words::HoldId;
use spareloop_store::parcels;

use super::holds::shown;
use crate::auth::caller::Grower;
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::Key;

/// Proposes how an agreed hold travels, or proposes otherwise.
pub async fn propose(
    house: &House,
    grower: Grower,
    key: &Key,
    hold: HoldId,
    request: ProposeParcel,
) -> Result<HoldView, ServerError> {
    let act = key.act(&house.keys, grower.person, "propose parcel", &(hold, &request))?;
    let terms = Terms { post: request.post, frost: request.frost, not_before: request.not_before };
    let now = house.now();
    house
        .settle(act, move |tx| {
            let done = parcels::propose(tx, grower.farm, hold, &terms, now)?;
            shown(tx, done)
        })
        .await
}

/// Agrees to what the other farm proposed.
pub async fn agree(
    house: &House,
    grower: Grower,
    key: &Key,
    hold: HoldId,
) -> Result<HoldView, ServerError> {
    let act = key.act(&house.keys, grower.person, "agree parcel", &hold)?;
    let now = house.now();
    house
        .settle(act, move |tx| {
            let done = parcels::agree(tx, grower.farm, hold, now)?;
            shown(tx, done)
        })
        .await
}

/// Notes that it is packed.
pub async fn pack(
    house: &House,
    grower: Grower,
    key: &Key,
    hold: HoldId,
) -> Result<HoldView, ServerError> {
    let act = key.act(&house.keys, grower.person, "pack parcel", &hold)?;
    let now = house.now();
    house
        .settle(act, move |tx| {
            let done = parcels::pack(tx, grower.farm, hold, now)?;
            shown(tx, done)
        })
        .await
}

/// Pauses it, or lifts the own pause.
pub async fn pause(
    house: &House,
    grower: Grower,
    key: &Key,
    hold: HoldId,
    request: PauseParcel,
) -> Result<HoldView, ServerError> {
    let act = key.act(&house.keys, grower.person, "pause parcel", &(hold, &request))?;
    let now = house.now();
    house
        .settle(act, move |tx| {
            let done = parcels::pause(tx, grower.farm, hold, (request.until, &request.why), now)?;
            shown(tx, done)
        })
        .await
}
