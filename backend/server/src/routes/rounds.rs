//! Rounds, what they propose to farms, farms' answers, swap days, limits.

use actix_web::web::{Data, Json, Path};
use actix_web::{HttpResponse, get, post};
use spareloop_api::exchange::{OfferView, OwedBook};
use spareloop_api::rounds::{
    BringWalkUp, MakeRound, ProposalView, RoundLine, RoundView, SetLimit, SetTimetable,
    SettleSwapDay, SwapDayLists, TimetableView,
};
use spareloop_domain::exchange::AnswerAct;
use spareloop_domain::words::{FarmId, ProposalId, RoundId};
use utoipa_actix_web::service_config::ServiceConfig;

use super::Nothing;
use crate::acts::{rounds, walk_ups};
use crate::auth::caller::{Coordinator, Grower, Member};
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::{Key, KeyHeader};

pub(super) fn configure(config: &mut ServiceConfig<'_>) {
    config
        .service(make)
        .service(list)
        .service(timetable)
        .service(set_timetable)
        .service(one)
        .service(proposals)
        .service(one_proposal)
        .service(lists)
        .service(accept)
        .service(decline)
        .service(settle)
        .service(bring_walk_up)
        .service(set_limit);
}

/// Asks for a round over the network's offers and wants as they are now. A server solves it by
/// itself.
#[utoipa::path(tag = "rounds", operation_id = "make_round", params(KeyHeader),
    request_body = MakeRound,
    responses((status = 201, description = "Asked for", body = RoundLine)),
    extensions(("x-access" = json!("coordinator"))))]
#[post("/rounds")]
pub(super) async fn make(
    house: Data<House>,
    caller: Coordinator,
    key: Key,
    request: Json<MakeRound>,
) -> Result<HttpResponse, ServerError> {
    let made = rounds::make(&house, caller, &key, request.into_inner()).await?;
    Ok(HttpResponse::Created().json(made))
}

/// The network's rounds, newest first.
#[utoipa::path(tag = "rounds", operation_id = "rounds",
    responses((status = 200, description = "The rounds", body = [RoundLine])),
    extensions(("x-access" = json!("person"))))]
#[get("/rounds")]
pub(super) async fn list(
    house: Data<House>,
    caller: Member,
) -> Result<Json<Vec<RoundLine>>, ServerError> {
    rounds::list(&house, caller).await.map(Json)
}

/// When rounds begin by themselves.
#[utoipa::path(tag = "rounds",
    responses((status = 200, description = "The timetable", body = TimetableView)),
    extensions(("x-access" = json!("person"))))]
#[get("/rounds/timetable")]
pub(super) async fn timetable(
    house: Data<House>,
    caller: Member,
) -> Result<Json<TimetableView>, ServerError> {
    rounds::timetable(&house, caller).await.map(Json)
}

/// Sets when rounds begin by themselves, or that they don't.
#[utoipa::path(tag = "rounds", params(KeyHeader), request_body = SetTimetable,
    responses((status = 200, description = "Set", body = TimetableView)),
    extensions(("x-access" = json!("coordinator"))))]
#[post("/rounds/timetable")]
pub(super) async fn set_timetable(
    house: Data<House>,
    caller: Coordinator,
    key: Key,
    request: Json<SetTimetable>,
) -> Result<Json<TimetableView>, ServerError> {
    rounds::set_timetable(&house, caller, &key, request.into_inner()).await.map(Json)
}

/// One round: what it proposes as far as the caller may see it, and which wants stayed open and why.
#[utoipa::path(tag = "rounds", operation_id = "round",
    params(("round" = String, Path, format = "uuid", description = "The round")),
    responses((status = 200, description = "The round", body = RoundView)),
    extensions(("x-access" = json!("person"))))]
#[get("/rounds/{round}")]
pub(super) async fn one(
    house: Data<House>,
    caller: Member,
    round: Path<RoundId>,
) -> Result<Json<RoundView>, ServerError> {
    rounds::round(&house, caller, round.into_inner()).await.map(Json)
}

/// Proposals in which the caller's farm has a part, newest first.
#[utoipa::path(tag = "rounds",
    responses((status = 200, description = "The proposals", body = [ProposalView])),
    extensions(("x-access" = json!("grower"))))]
#[get("/proposals")]
pub(super) async fn proposals(
    house: Data<House>,
    caller: Grower,
) -> Result<Json<Vec<ProposalView>>, ServerError> {
    rounds::own_proposals(&house, caller).await.map(Json)
}

/// One proposal: what each farm gives and gets, values, fairness, answers.
#[utoipa::path(tag = "rounds", operation_id = "proposal",
    params(("proposal" = String, Path, format = "uuid", description = "The proposal")),
    responses((status = 200, description = "The proposal", body = ProposalView)),
    extensions(("x-access" = json!("person"))))]
#[get("/proposals/{proposal}")]
pub(super) async fn one_proposal(
    house: Data<House>,
    caller: Member,
    proposal: Path<ProposalId>,
) -> Result<Json<ProposalView>, ServerError> {
    rounds::one_proposal(&house, caller, proposal.into_inner()).await.map(Json)
}

/// What each farm packs for a swap day, and what passes in the hall, variety by variety.
#[utoipa::path(tag = "rounds", operation_id = "swap_day_lists",
    params(("proposal" = String, Path, format = "uuid", description = "The swap day")),
    responses((status = 200, description = "The lists", body = SwapDayLists)),
    extensions(("x-access" = json!("person"))))]
#[get("/proposals/{proposal}/lists")]
pub(super) async fn lists(
    house: Data<House>,
    caller: Member,
    proposal: Path<ProposalId>,
) -> Result<Json<SwapDayLists>, ServerError> {
    rounds::lists(&house, caller, proposal.into_inner()).await.map(Json)
}

/// The caller's farm accepts. The last farm of a loop to accept makes all its holds.
#[utoipa::path(tag = "rounds", operation_id = "accept_proposal",
    params(("proposal" = String, Path, format = "uuid", description = "The proposal"), KeyHeader),
    request_body = Nothing,
    responses((status = 200, description = "Accepted", body = ProposalView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/proposals/{proposal}/accept")]
pub(super) async fn accept(
    house: Data<House>,
    caller: Grower,
    key: Key,
    proposal: Path<ProposalId>,
    _: Json<Nothing>,
) -> Result<Json<ProposalView>, ServerError> {
    let act = AnswerAct::AcceptByPart;
    rounds::answer(&house, caller, &key, proposal.into_inner(), act).await.map(Json)
}

/// A farm of the network brings something to a swap day that takes place, without having been planned: it
/// enters the farm's stock book and is offered until the day is over.
#[utoipa::path(tag = "rounds", operation_id = "bring_walk_up",
    params(("proposal" = String, Path, format = "uuid", description = "The swap day"), KeyHeader),
    request_body = BringWalkUp,
    responses((status = 201, description = "Offered", body = OfferView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/proposals/{proposal}/walk-ups")]
pub(super) async fn bring_walk_up(
    house: Data<House>,
    caller: Grower,
    key: Key,
    proposal: Path<ProposalId>,
    request: Json<BringWalkUp>,
) -> Result<HttpResponse, ServerError> {
    let (proposal, request) = (proposal.into_inner(), request.into_inner());
    let made = walk_ups::bring(&house, caller, &key, proposal, request).await?;
    Ok(HttpResponse::Created().json(made))
}

/// The caller's farm declines, without a reason. A loop is dissolved by it; a swap day takes place
/// without that farm.
#[utoipa::path(tag = "rounds", operation_id = "decline_proposal",
    params(("proposal" = String, Path, format = "uuid", description = "The proposal"), KeyHeader),
    request_body = Nothing,
    responses((status = 200, description = "Declined", body = ProposalView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/proposals/{proposal}/decline")]
pub(super) async fn decline(
    house: Data<House>,
    caller: Grower,
    key: Key,
    proposal: Path<ProposalId>,
    _: Json<Nothing>,
) -> Result<Json<ProposalView>, ServerError> {
    let act = AnswerAct::DeclineByPart;
    rounds::answer(&house, caller, &key, proposal.into_inner(), act).await.map(Json)
}

/// A swap day is over: settles it for those who came, each within its limit.
#[utoipa::path(tag = "rounds", operation_id = "settle_swap_day",
    params(("proposal" = String, Path, format = "uuid", description = "The swap day"), KeyHeader),
    request_body = SettleSwapDay,
    responses((status = 200, description = "Settled", body = ProposalView)),
    extensions(("x-access" = json!("coordinator"))))]
#[post("/proposals/{proposal}/settle")]
pub(super) async fn settle(
    house: Data<House>,
    caller: Coordinator,
    key: Key,
    proposal: Path<ProposalId>,
    request: Json<SettleSwapDay>,
) -> Result<Json<ProposalView>, ServerError> {
    rounds::settle(&house, caller, &key, proposal.into_inner(), request.into_inner())
        .await
        .map(Json)
}

/// Sets how much a farm may be owed, or owe.
#[utoipa::path(tag = "rounds",
    params(("farm" = String, Path, format = "uuid", description = "The farm"), KeyHeader),
    request_body = SetLimit,
    responses((status = 200, description = "Set; how all farms stand", body = OwedBook)),
    extensions(("x-access" = json!("coordinator"))))]
#[post("/farms/{farm}/limit")]
pub(super) async fn set_limit(
    house: Data<House>,
    caller: Coordinator,
    key: Key,
    farm: Path<FarmId>,
    request: Json<SetLimit>,
) -> Result<Json<OwedBook>, ServerError> {
    rounds::set_limit(&house, caller, &key, farm.into_inner(), request.into_inner()).await.map(Json)
}
