//! Set-up, sign-in, networks, invitations.

use actix_web::web::{Data, Json, Path};
use actix_web::{HttpResponse, delete, get, post};
use spareloop_api::exchange::Reason;
use spareloop_api::people::{
    FarmOnPaperView, InvitationMade, InvitationView, Invite, Join, MakeFarmOnPaper, MakeNetwork,
    Me, NetworkView, Refresh, SetUp, SignIn, Tokens,
};
use spareloop_domain::words::{FarmId, InvitationId};
use utoipa_actix_web::service_config::ServiceConfig;

use super::CallerAddress;

use crate::acts::{on_paper, people, sign_in};
use crate::auth::caller::{Coordinator, Person};
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::{Key, KeyHeader};

pub(super) fn configure(config: &mut ServiceConfig<'_>) {
    config
        .service(set_up)
        .service(enter)
        .service(refresh)
        .service(sign_out)
        .service(me)
        .service(make_network)
        .service(make_farm_on_paper)
        .service(farms_on_paper)
        .service(end_consent)
        .service(invite)
        .service(invitations)
        .service(withdraw_invitation)
        .service(join);
}

/// Makes the first coordinator with the one-time set-up link.
#[utoipa::path(tag = "people", request_body = SetUp,
    responses((status = 201, description = "Set up and signed in", body = Tokens)),
    extensions(("x-access" = json!("anybody"))))]
#[post("/set-up")]
pub(super) async fn set_up(
    house: Data<House>,
    address: CallerAddress,
    request: Json<SetUp>,
) -> Result<HttpResponse, ServerError> {
    let tokens = people::set_up(&house, request.into_inner(), address.0).await?;
    Ok(HttpResponse::Created().json(tokens))
}

/// Signs in by name and password.
#[utoipa::path(tag = "people", operation_id = "sign_in", request_body = SignIn,
    responses((status = 200, description = "Signed in", body = Tokens)),
    extensions(("x-access" = json!("anybody"))))]
#[post("/sign-in")]
pub(super) async fn enter(
    house: Data<House>,
    address: CallerAddress,
    request: Json<SignIn>,
) -> Result<Json<Tokens>, ServerError> {
    sign_in::sign_in(&house, request.into_inner(), address.0).await.map(Json)
}

/// Gives the next pair of tokens for a refresh token.
///
/// Each works once. One used a second time ends the sign-in, unless it is the one just before and
/// comes again within 30 seconds, which gives the same successor: its answer may have been lost.
#[utoipa::path(tag = "people", request_body = Refresh,
    responses((status = 200, description = "The next pair", body = Tokens)),
    extensions(("x-access" = json!("anybody"))))]
#[post("/refresh")]
pub(super) async fn refresh(
    house: Data<House>,
    request: Json<Refresh>,
) -> Result<Json<Tokens>, ServerError> {
    sign_in::refresh(&house, request.into_inner()).await.map(Json)
}

/// Ends the sign-in of a refresh token.
#[utoipa::path(tag = "people", request_body = Refresh,
    responses((status = 204, description = "Signed out")),
    extensions(("x-access" = json!("anybody"))))]
#[post("/sign-out")]
pub(super) async fn sign_out(
    house: Data<House>,
    request: Json<Refresh>,
) -> Result<HttpResponse, ServerError> {
    sign_in::sign_out(&house, request.into_inner()).await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Says who the caller is and for whom they act.
#[utoipa::path(tag = "people",
    responses((status = 200, description = "The caller", body = Me)),
    extensions(("x-access" = json!("person"))))]
#[get("/me")]
pub(super) async fn me(house: Data<House>, caller: Person) -> Result<Json<Me>, ServerError> {
    people::me(&house, &caller).await.map(Json)
}

/// Makes a network, run by the caller.
#[utoipa::path(tag = "people", params(KeyHeader), request_body = MakeNetwork,
    responses((status = 201, description = "Made", body = NetworkView)),
    extensions(("x-access" = json!("coordinator"))))]
#[post("/networks")]
pub(super) async fn make_network(
    house: Data<House>,
    caller: Coordinator,
    key: Key,
    request: Json<MakeNetwork>,
) -> Result<HttpResponse, ServerError> {
    let made = people::make_network(&house, caller, &key, request.into_inner()).await?;
    Ok(HttpResponse::Created().json(made))
}

/// Notes a farm that keeps its books on paper and consented that the coordinator acts for it.
#[utoipa::path(tag = "people", params(KeyHeader), request_body = MakeFarmOnPaper,
    responses((status = 201, description = "Made", body = FarmOnPaperView)),
    extensions(("x-access" = json!("coordinator"))))]
#[post("/farms-on-paper")]
pub(super) async fn make_farm_on_paper(
    house: Data<House>,
    caller: Coordinator,
    key: Key,
    request: Json<MakeFarmOnPaper>,
) -> Result<HttpResponse, ServerError> {
    let made = on_paper::make(&house, caller, &key, request.into_inner()).await?;
    Ok(HttpResponse::Created().json(made))
}

/// The network's farms on paper, each with its consent.
#[utoipa::path(tag = "people",
    responses((status = 200, description = "The farms", body = [FarmOnPaperView])),
    extensions(("x-access" = json!("coordinator"))))]
#[get("/farms-on-paper")]
pub(super) async fn farms_on_paper(
    house: Data<House>,
    caller: Coordinator,
) -> Result<Json<Vec<FarmOnPaperView>>, ServerError> {
    on_paper::list(&house, caller).await.map(Json)
}

/// A farm on paper took its consent back: every sign-in for it ends at once.
#[utoipa::path(tag = "people", operation_id = "end_consent",
    params(("farm" = String, Path, format = "uuid", description = "The farm"), KeyHeader),
    request_body = Reason,
    responses((status = 200, description = "The farms on paper", body = [FarmOnPaperView])),
    extensions(("x-access" = json!("coordinator"))))]
#[post("/farms-on-paper/{farm}/end")]
pub(super) async fn end_consent(
    house: Data<House>,
    caller: Coordinator,
    key: Key,
    farm: Path<FarmId>,
    reason: Json<Reason>,
) -> Result<Json<Vec<FarmOnPaperView>>, ServerError> {
    let (farm, reason) = (farm.into_inner(), reason.into_inner());
    on_paper::end(&house, caller, &key, farm, reason).await.map(Json)
}

/// Invites a farm: the code works once.
#[utoipa::path(tag = "people", params(KeyHeader), request_body = Invite,
    responses((status = 201, description = "Made", body = InvitationMade)),
    extensions(("x-access" = json!("coordinator"))))]
#[post("/invitations")]
pub(super) async fn invite(
    house: Data<House>,
    caller: Coordinator,
    key: Key,
    request: Json<Invite>,
) -> Result<HttpResponse, ServerError> {
    let made = people::invite(&house, caller, &key, request.into_inner()).await?;
    Ok(HttpResponse::Created().json(made))
}

/// Lists the invitations, newest first.
#[utoipa::path(tag = "people",
    responses((status = 200, description = "The invitations", body = [InvitationView])),
    extensions(("x-access" = json!("coordinator"))))]
#[get("/invitations")]
pub(super) async fn invitations(
    house: Data<House>,
    caller: Coordinator,
) -> Result<Json<Vec<InvitationView>>, ServerError> {
    people::invitations(&house, caller).await.map(Json)
}

/// Withdraws an invitation that wasn't used.
#[utoipa::path(tag = "people",
    params(("invitation" = String, Path, format = "uuid", description = "The invitation")),
    responses((status = 204, description = "Withdrawn")),
    extensions(("x-access" = json!("coordinator"))))]
#[delete("/invitations/{invitation}")]
pub(super) async fn withdraw_invitation(
    house: Data<House>,
    caller: Coordinator,
    invitation: Path<InvitationId>,
) -> Result<HttpResponse, ServerError> {
    people::withdraw_invitation(&house, caller, invitation.into_inner()).await?;
    Ok(HttpResponse::NoContent().finish())
}

/// Joins a network by an invitation's code: makes the farm and its first person.
#[utoipa::path(tag = "people", params(KeyHeader), request_body = Join,
    responses((status = 201, description = "Joined and signed in", body = Tokens)),
    extensions(("x-access" = json!("anybody"))))]
#[post("/join")]
pub(super) async fn join(
    house: Data<House>,
    address: CallerAddress,
    key: Key,
    request: Json<Join>,
) -> Result<HttpResponse, ServerError> {
    let tokens = people::join(&house, &key, request.into_inner(), address.0).await?;
    Ok(HttpResponse::Created().json(tokens))
}
