//! Claims on what arrived.

use actix_web::web::{Data, Json, Path};
use actix_web::{HttpResponse, get, post};
use spareloop_api::claims::{ClaimView, DecideClaim, MakeClaim};
use spareloop_api::exchange::Reason;
use spareloop_domain::exchange::ClaimAct;
use spareloop_domain::words::{ClaimId, HandOverId};
use utoipa_actix_web::service_config::ServiceConfig;

use crate::acts::claims;
use crate::auth::caller::{Coordinator, Grower, Member};
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::{Key, KeyHeader};

pub(super) fn configure(config: &mut ServiceConfig<'_>) {
    config
        .service(list)
        .service(one)
        .service(make)
        .service(grant)
        .service(dispute)
        .service(withdraw)
        .service(decide);
}

/// The claims of the caller's farm, or of the network for its coordinator, newest first.
#[utoipa::path(tag = "holds", operation_id = "claims",
    responses((status = 200, description = "The claims", body = [ClaimView])),
    extensions(("x-access" = json!("person"))))]
#[get("/claims")]
pub(super) async fn list(
    house: Data<House>,
    caller: Member,
) -> Result<Json<Vec<ClaimView>>, ServerError> {
    claims::list(&house, caller).await.map(Json)
}

/// One claim.
#[utoipa::path(tag = "holds", operation_id = "claim",
    params(("claim" = String, Path, format = "uuid", description = "The claim")),
    responses((status = 200, description = "The claim", body = ClaimView)),
    extensions(("x-access" = json!("person"))))]
#[get("/claims/{claim}")]
pub(super) async fn one(
    house: Data<House>,
    caller: Member,
    claim: Path<ClaimId>,
) -> Result<Json<ClaimView>, ServerError> {
    claims::one(&house, caller, claim.into_inner()).await.map(Json)
}

/// The taker claims on what it received. The giver has 14 days to answer.
#[utoipa::path(tag = "holds", operation_id = "make_claim",
    params(("hand_over" = String, Path, format = "uuid", description = "The hand-over"), KeyHeader),
    request_body = MakeClaim,
    responses((status = 201, description = "Claimed", body = ClaimView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/hand-overs/{hand_over}/claims")]
pub(super) async fn make(
    house: Data<House>,
    caller: Grower,
    key: Key,
    hand_over: Path<HandOverId>,
    request: Json<MakeClaim>,
) -> Result<HttpResponse, ServerError> {
    let (hand_over, request) = (hand_over.into_inner(), request.into_inner());
    let made = claims::make(&house, caller, &key, hand_over, request).await?;
    Ok(HttpResponse::Created().json(made))
}

/// The giver grants a claim: it comes back in the owed book at the agreed value.
#[utoipa::path(tag = "holds", operation_id = "grant_claim",
    params(("claim" = String, Path, format = "uuid", description = "The claim"), KeyHeader),
    request_body = Reason,
    responses((status = 200, description = "Granted", body = ClaimView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/claims/{claim}/grant")]
pub(super) async fn grant(
    house: Data<House>,
    caller: Grower,
    key: Key,
    claim: Path<ClaimId>,
    reason: Json<Reason>,
) -> Result<Json<ClaimView>, ServerError> {
    let act = (ClaimAct::GrantByGiver, reason.into_inner());
    claims::act(&house, caller, &key, claim.into_inner(), act).await.map(Json)
}

/// The giver sees it otherwise: the coordinator decides, on record.
#[utoipa::path(tag = "holds", operation_id = "dispute_claim",
    params(("claim" = String, Path, format = "uuid", description = "The claim"), KeyHeader),
    request_body = Reason,
    responses((status = 200, description = "Disputed", body = ClaimView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/claims/{claim}/dispute")]
pub(super) async fn dispute(
    house: Data<House>,
    caller: Grower,
    key: Key,
    claim: Path<ClaimId>,
    reason: Json<Reason>,
) -> Result<Json<ClaimView>, ServerError> {
    let act = (ClaimAct::DisputeByGiver, reason.into_inner());
    claims::act(&house, caller, &key, claim.into_inner(), act).await.map(Json)
}

/// The taker takes a claim back.
#[utoipa::path(tag = "holds", operation_id = "withdraw_claim",
    params(("claim" = String, Path, format = "uuid", description = "The claim"), KeyHeader),
    request_body = Reason,
    responses((status = 200, description = "Taken back", body = ClaimView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/claims/{claim}/withdraw")]
pub(super) async fn withdraw(
    house: Data<House>,
    caller: Grower,
    key: Key,
    claim: Path<ClaimId>,
    reason: Json<Reason>,
) -> Result<Json<ClaimView>, ServerError> {
    let act = (ClaimAct::WithdrawByTaker, reason.into_inner());
    claims::act(&house, caller, &key, claim.into_inner(), act).await.map(Json)
}

/// The coordinator decides a claim that is disputed, or that the giver has not answered in time, on record.
#[utoipa::path(tag = "holds", operation_id = "decide_claim",
    params(("claim" = String, Path, format = "uuid", description = "The claim"), KeyHeader),
    request_body = DecideClaim,
    responses((status = 200, description = "Decided", body = ClaimView)),
    extensions(("x-access" = json!("coordinator"))))]
#[post("/claims/{claim}/decide")]
pub(super) async fn decide(
    house: Data<House>,
    caller: Coordinator,
    key: Key,
    claim: Path<ClaimId>,
    request: Json<DecideClaim>,
) -> Result<Json<ClaimView>, ServerError> {
    let (claim, request) = (claim.into_inner(), request.into_inner());
    claims::decide(&house, caller, &key, claim, request).await.map(Json)
}
