//! The devices of the caller's farm.

use actix_web::web::{Data, Json, Path};
use actix_web::{HttpResponse, get, post};
use spareloop_api::people::{DeviceRegistered, DeviceView, RegisterDevice};
use spareloop_domain::words::DeviceId;
use utoipa_actix_web::service_config::ServiceConfig;

use super::Nothing;
use crate::acts::devices;
use crate::auth::caller::Grower;
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::{Key, KeyHeader};

pub(super) fn configure(config: &mut ServiceConfig<'_>) {
    config.service(register).service(list).service(shut_out);
}

/// Makes a device known, or gives a known one a new token.
#[utoipa::path(tag = "devices", params(KeyHeader), request_body = RegisterDevice,
    responses((status = 201, description = "Known", body = DeviceRegistered)),
    extensions(("x-access" = json!("grower"))))]
#[post("/devices")]
pub(super) async fn register(
    house: Data<House>,
    caller: Grower,
    key: Key,
    request: Json<RegisterDevice>,
) -> Result<HttpResponse, ServerError> {
    let made = devices::register(&house, caller, &key, request.into_inner()).await?;
    Ok(HttpResponse::Created().json(made))
}

/// Lists the farm's devices.
#[utoipa::path(tag = "devices", operation_id = "devices",
    responses((status = 200, description = "The devices", body = [DeviceView])),
    extensions(("x-access" = json!("grower"))))]
#[get("/devices")]
pub(super) async fn list(
    house: Data<House>,
    caller: Grower,
) -> Result<Json<Vec<DeviceView>>, ServerError> {
    devices::list(&house, caller).await.map(Json)
}

/// Shuts a lost device out; its entries stay.
#[utoipa::path(tag = "devices",
    params(("device" = String, Path, format = "uuid", description = "The device"), KeyHeader),
    request_body = Nothing,
    responses((status = 200, description = "Shut out", body = DeviceView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/devices/{device}/shut-out")]
pub(super) async fn shut_out(
    house: Data<House>,
    caller: Grower,
    key: Key,
    device: Path<DeviceId>,
    _nothing: Json<Nothing>,
) -> Result<Json<DeviceView>, ServerError> {
    devices::shut_out(&house, caller, &key, device.into_inner()).await.map(Json)
}
