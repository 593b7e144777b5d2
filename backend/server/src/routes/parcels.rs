//! How what was agreed travels.

use actix_web::post;
use actix_web::web::{Data, Json, Path};
use spareloop_api::exchange::HoldView;
use spareloop_api::parcels::{PauseParcel, ProposeParcel};
use spareloop_domain::words::HoldId;
use utoipa_actix_web::service_config::ServiceConfig;

use super::Nothing;
use crate::acts::parcels;
use crate::auth::caller::Grower;
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::{Key, KeyHeader};

pub(super) fn configure(config: &mut ServiceConfig<'_>) {
    config.service(propose).service(agree).service(pack).service(pause);
}

/// Either farm of an agreed hold proposes how it travels; the other agrees, or proposes otherwise.
#[utoipa::path(tag = "holds", operation_id = "propose_parcel",
    params(("hold" = String, Path, format = "uuid", description = "The hold"), KeyHeader),
    request_body = ProposeParcel,
    responses((status = 200, description = "Proposed", body = HoldView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/holds/{hold}/parcel")]
pub(super) async fn propose(
    house: Data<House>,
    caller: Grower,
    key: Key,
    hold: Path<HoldId>,
    request: Json<ProposeParcel>,
) -> Result<Json<HoldView>, ServerError> {
    parcels::propose(&house, caller, &key, hold.into_inner(), request.into_inner()).await.map(Json)
}

/// Agrees to what the other farm proposed.
#[utoipa::path(tag = "holds", operation_id = "agree_parcel",
    params(("hold" = String, Path, format = "uuid", description = "The hold"), KeyHeader),
    request_body = Nothing,
    responses((status = 200, description = "Agreed", body = HoldView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/holds/{hold}/parcel/agree")]
pub(super) async fn agree(
    house: Data<House>,
    caller: Grower,
    key: Key,
    hold: Path<HoldId>,
    _: Json<Nothing>,
) -> Result<Json<HoldView>, ServerError> {
    parcels::agree(&house, caller, &key, hold.into_inner()).await.map(Json)
}

/// The giver notes that it is packed. The hand-over sends it.
#[utoipa::path(tag = "holds", operation_id = "pack_parcel",
    params(("hold" = String, Path, format = "uuid", description = "The hold"), KeyHeader),
    request_body = Nothing,
    responses((status = 200, description = "Packed", body = HoldView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/holds/{hold}/parcel/pack")]
pub(super) async fn pack(
    house: Data<House>,
    caller: Grower,
    key: Key,
    hold: Path<HoldId>,
    _: Json<Nothing>,
) -> Result<Json<HoldView>, ServerError> {
    parcels::pack(&house, caller, &key, hold.into_inner()).await.map(Json)
}

/// Either farm pauses a parcel until a day, or lifts its own pause. What is agreed does not lapse meanwhile.
#[utoipa::path(tag = "holds", operation_id = "pause_parcel",
    params(("hold" = String, Path, format = "uuid", description = "The hold"), KeyHeader),
    request_body = PauseParcel,
    responses((status = 200, description = "Paused, or going on", body = HoldView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/holds/{hold}/parcel/pause")]
pub(super) async fn pause(
    house: Data<House>,
    caller: Grower,
    key: Key,
    hold: Path<HoldId>,
    request: Json<PauseParcel>,
) -> Result<Json<HoldView>, ServerError> {
    parcels::pause(&house, caller, &key, hold.into_inner(), request.into_inner()).await.map(Json)
}
