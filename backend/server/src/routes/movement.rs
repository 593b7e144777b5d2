//! Regions and the rules between them.

use actix_web::web::{Data, Json, Path};
use actix_web::{get, post};
use spareloop_api::movement::{MovementView, SetMovementRule, SetRegion};
use spareloop_domain::words::FarmId;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::acts::movement;
use crate::auth::caller::{Coordinator, Member};
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::{Key, KeyHeader};

pub(super) fn configure(config: &mut ServiceConfig<'_>) {
    config.service(view).service(set_region).service(set_rule);
}

/// Where farms are, and what the coordinator asks for between regions. No rule says that something may
/// be moved: both farms ask their own plant health authority.
#[utoipa::path(tag = "exchange", operation_id = "movement",
    responses((status = 200, description = "Regions and rules", body = MovementView)),
    extensions(("x-access" = json!("person"))))]
#[get("/movement")]
pub(super) async fn view(
    house: Data<House>,
    caller: Member,
) -> Result<Json<MovementView>, ServerError> {
    movement::view(&house, caller).await.map(Json)
}

/// Notes where a farm is.
#[utoipa::path(tag = "exchange",
    params(("farm" = String, Path, format = "uuid", description = "The farm"), KeyHeader),
    request_body = SetRegion,
    responses((status = 200, description = "Noted", body = MovementView)),
    extensions(("x-access" = json!("coordinator"))))]
#[post("/farms/{farm}/region")]
pub(super) async fn set_region(
    house: Data<House>,
    caller: Coordinator,
    key: Key,
    farm: Path<FarmId>,
    request: Json<SetRegion>,
) -> Result<Json<MovementView>, ServerError> {
    let request = request.into_inner();
    movement::set_region(&house, caller, &key, farm.into_inner(), request).await.map(Json)
}

/// Sets what is asked for from one region to another, or takes the rule away. Matches, holds and rounds
/// go by it from then on; what is agreed already stands.
#[utoipa::path(tag = "exchange", operation_id = "set_movement_rule",
    params(KeyHeader), request_body = SetMovementRule,
    responses((status = 200, description = "Set", body = MovementView)),
    extensions(("x-access" = json!("coordinator"))))]
#[post("/movement/rules")]
pub(super) async fn set_rule(
    house: Data<House>,
    caller: Coordinator,
    key: Key,
    request: Json<SetMovementRule>,
) -> Result<Json<MovementView>, ServerError> {
    movement::set_rule(&house, caller, &key, request.into_inner()).await.map(Json)
}
