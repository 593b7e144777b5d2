//! Where farms roughly are, and how far that is.

use actix_web::web::{Data, Json};
use actix_web::{get, post};
use spareloop_api::distances::{DistancesView, SetWhereabouts};
use utoipa_actix_web::service_config::ServiceConfig;

use crate::acts::distances;
use crate::auth::caller::Grower;
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::{Key, KeyHeader};

pub(super) fn configure(config: &mut ServiceConfig<'_>) {
    config.service(view).service(set);
}

/// Where the caller's farm says it is, and how far the network's other farms are. No farm is shown
/// where another one is.
#[utoipa::path(tag = "exchange", operation_id = "distances",
    responses((status = 200, description = "Distances", body = DistancesView)),
    extensions(("x-access" = json!("grower"))))]
#[get("/distances")]
pub(super) async fn view(
    house: Data<House>,
    caller: Grower,
) -> Result<Json<DistancesView>, ServerError> {
    distances::view(&house, caller).await.map(Json)
}

/// Says where the caller's farm roughly is, or that nobody is told any more.
#[utoipa::path(tag = "exchange", operation_id = "set_whereabouts",
    params(KeyHeader), request_body = SetWhereabouts,
    responses((status = 200, description = "Noted", body = DistancesView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/whereabouts")]
pub(super) async fn set(
    house: Data<House>,
    caller: Grower,
    key: Key,
    request: Json<SetWhereabouts>,
) -> Result<Json<DistancesView>, ServerError> {
    distances::set(&house, caller, &key, request.into_inner()).await.map(Json)
}
