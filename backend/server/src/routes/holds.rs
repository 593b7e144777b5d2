//! Holds from the asking to the receipt.

use actix_web::web::{Data, Json, Path, Query};
use actix_web::{HttpResponse, get, post};
use spareloop_api::exchange::{AskHold, HandOver, HoldView, PassOnTheSpot, Reason, Receipt};
use spareloop_domain::words::{HandOverId, HoldId, OfferId};
use utoipa_actix_web::service_config::ServiceConfig;

use super::Paging;
use crate::acts::{holds, walk_ups};
use crate::auth::caller::Grower;
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::{Key, KeyHeader};

pub(super) fn configure(config: &mut ServiceConfig<'_>) {
    config
        .service(pass)
        .service(ask)
        .service(list)
        .service(one)
        .service(agree)
        .service(release)
        .service(give)
        .service(receive);
}

/// Asks for a hold on an offer: first come, first held.
#[utoipa::path(tag = "holds",
    params(("offer" = String, Path, format = "uuid", description = "The offer"), KeyHeader),
    request_body = AskHold,
    responses((status = 201, description = "Held", body = HoldView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/offers/{offer}/holds")]
pub(super) async fn ask(
    house: Data<House>,
    caller: Grower,
    key: Key,
    offer: Path<OfferId>,
    request: Json<AskHold>,
) -> Result<HttpResponse, ServerError> {
    let held = holds::ask(&house, caller, &key, offer.into_inner(), request.into_inner()).await?;
    Ok(HttpResponse::Created().json(held))
}

/// Holds that the caller's farm gives or takes, oldest first.
#[utoipa::path(tag = "holds", operation_id = "holds", params(Paging),
    responses((status = 200, description = "The holds", body = [HoldView])),
    extensions(("x-access" = json!("grower"))))]
#[get("/holds")]
pub(super) async fn list(
    house: Data<House>,
    caller: Grower,
    paging: Query<Paging>,
) -> Result<Json<Vec<HoldView>>, ServerError> {
    holds::list(&house, caller, paging.after, paging.limit()?).await.map(Json)
}

/// One hold with its life.
#[utoipa::path(tag = "holds", operation_id = "hold",
    params(("hold" = String, Path, format = "uuid", description = "The hold")),
    responses((status = 200, description = "The hold", body = HoldView)),
    extensions(("x-access" = json!("grower"))))]
#[get("/holds/{hold}")]
pub(super) async fn one(
    house: Data<House>,
    caller: Grower,
    hold: Path<HoldId>,
) -> Result<Json<HoldView>, ServerError> {
    holds::one(&house, caller, hold.into_inner()).await.map(Json)
}

/// The giver agrees to a hold.
#[utoipa::path(tag = "holds",
    params(("hold" = String, Path, format = "uuid", description = "The hold"), KeyHeader),
    request_body = Reason,
    responses((status = 200, description = "Agreed", body = HoldView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/holds/{hold}/agree")]
pub(super) async fn agree(
    house: Data<House>,
    caller: Grower,
    key: Key,
    hold: Path<HoldId>,
    request: Json<Reason>,
) -> Result<Json<HoldView>, ServerError> {
    holds::agree(&house, caller, &key, hold.into_inner(), request.into_inner()).await.map(Json)
}

/// Either farm releases a hold.
#[utoipa::path(tag = "holds",
    params(("hold" = String, Path, format = "uuid", description = "The hold"), KeyHeader),
    request_body = Reason,
    responses((status = 200, description = "Released", body = HoldView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/holds/{hold}/release")]
pub(super) async fn release(
    house: Data<House>,
    caller: Grower,
    key: Key,
    hold: Path<HoldId>,
    request: Json<Reason>,
) -> Result<Json<HoldView>, ServerError> {
    holds::release(&house, caller, &key, hold.into_inner(), request.into_inner()).await.map(Json)
}

/// The giver hands over: the giver's ledger gets its entry.
#[utoipa::path(tag = "holds", operation_id = "hand_over",
    params(("hold" = String, Path, format = "uuid", description = "The hold"), KeyHeader),
    request_body = HandOver,
    responses((status = 200, description = "Handed over", body = HoldView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/holds/{hold}/hand-over")]
pub(super) async fn give(
    house: Data<House>,
    caller: Grower,
    key: Key,
    hold: Path<HoldId>,
    request: Json<HandOver>,
) -> Result<Json<HoldView>, ServerError> {
    holds::hand_over(&house, caller, &key, hold.into_inner(), request.into_inner()).await.map(Json)
}

/// The taker confirms what arrived: the taker's ledger and the owed book get their entries.
#[utoipa::path(tag = "holds",
    params(("hand_over" = String, Path, format = "uuid", description = "The hand-over"), KeyHeader),
    request_body = Receipt,
    responses((status = 200, description = "Received", body = HoldView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/hand-overs/{hand_over}/receipt")]
pub(super) async fn receive(
    house: Data<House>,
    caller: Grower,
    key: Key,
    hand_over: Path<HandOverId>,
    request: Json<Receipt>,
) -> Result<Json<HoldView>, ServerError> {
    holds::receive(&house, caller, &key, hand_over.into_inner(), request.into_inner())
        .await
        .map(Json)
}

/// The giver hands some of its offer over on the spot, as at a swap day; the taker confirms what it got, and
/// nothing is owed before.
#[utoipa::path(tag = "holds", operation_id = "pass_on_the_spot",
    params(("offer" = String, Path, format = "uuid", description = "The offer"), KeyHeader),
    request_body = PassOnTheSpot,
    responses((status = 201, description = "Handed over", body = HoldView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/offers/{offer}/pass")]
pub(super) async fn pass(
    house: Data<House>,
    caller: Grower,
    key: Key,
    offer: Path<OfferId>,
    request: Json<PassOnTheSpot>,
) -> Result<HttpResponse, ServerError> {
    let (offer, request) = (offer.into_inner(), request.into_inner());
    let passed = walk_ups::pass(&house, caller, &key, offer, request).await?;
    Ok(HttpResponse::Created().json(passed))
}
