//! The line for an offer of which not enough is free.

use actix_web::web::{Data, Json, Path};
use actix_web::{HttpResponse, get, post};
use spareloop_api::exchange::{TurnView, WaitInLine};
use spareloop_domain::words::{OfferId, TurnId};
use utoipa_actix_web::service_config::ServiceConfig;

use super::Nothing;
use crate::acts::turns;
use crate::auth::caller::Grower;
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::{Key, KeyHeader};

pub(super) fn configure(config: &mut ServiceConfig<'_>) {
    config.service(wait).service(list).service(leave);
}

/// Waits in line for what comes free of an offer: it is held for the first in line for two days, then
/// for the next.
#[utoipa::path(tag = "holds", operation_id = "wait_in_line",
    params(("offer" = String, Path, format = "uuid", description = "The offer"), KeyHeader),
    request_body = WaitInLine,
    responses((status = 201, description = "In line", body = TurnView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/offers/{offer}/line")]
pub(super) async fn wait(
    house: Data<House>,
    caller: Grower,
    key: Key,
    offer: Path<OfferId>,
    request: Json<WaitInLine>,
) -> Result<HttpResponse, ServerError> {
    let made = turns::wait(&house, caller, &key, offer.into_inner(), request.into_inner()).await?;
    Ok(HttpResponse::Created().json(made))
}

/// The turns that wait, of the caller's farm or for its offers.
#[utoipa::path(tag = "holds", operation_id = "turns",
    responses((status = 200, description = "The turns", body = [TurnView])),
    extensions(("x-access" = json!("grower"))))]
#[get("/turns")]
pub(super) async fn list(
    house: Data<House>,
    caller: Grower,
) -> Result<Json<Vec<TurnView>>, ServerError> {
    turns::list(&house, caller).await.map(Json)
}

/// Gives a turn up.
#[utoipa::path(tag = "holds", operation_id = "leave_line",
    params(("turn" = String, Path, format = "uuid", description = "The turn"), KeyHeader),
    request_body = Nothing,
    responses((status = 200, description = "Left", body = TurnView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/turns/{turn}/leave")]
pub(super) async fn leave(
    house: Data<House>,
    caller: Grower,
    key: Key,
    turn: Path<TurnId>,
    _: Json<Nothing>,
) -> Result<Json<TurnView>, ServerError> {
    turns::leave(&house, caller, &key, turn.into_inner()).await.map(Json)
}
