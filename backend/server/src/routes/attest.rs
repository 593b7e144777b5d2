//! Keys for signing and signed statements about lots.

use actix_web::web::{Data, Json, Path, Query};
use actix_web::{HttpResponse, get, post};
use serde::Deserialize;
use spareloop_api::attest::{
    FarmKeys, KeepStatement, KeyView, LotStatements, MakeKeyKnown, StatementFeed, StatementView,
};
use spareloop_domain::attest::KeyId;
use spareloop_domain::words::{FarmId, LotId};
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use super::{Nothing, Paging};
use crate::acts::attest;
use crate::auth::caller::{Grower, Member};
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::{Key, KeyHeader};

pub(super) fn configure(config: &mut ServiceConfig<'_>) {
    config
        .service(make_key_known)
        .service(withdraw_key)
        .service(farm_keys)
        .service(keep)
        .service(of_lot)
        .service(feed);
}

/// Makes the public half of a key of the caller's farm known. The secret half stays on its device.
#[utoipa::path(tag = "statements", params(KeyHeader), request_body = MakeKeyKnown,
    responses((status = 201, description = "Known", body = KeyView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/keys")]
pub(super) async fn make_key_known(
    house: Data<House>,
    caller: Grower,
    key: Key,
    request: Json<MakeKeyKnown>,
) -> Result<HttpResponse, ServerError> {
    let made = attest::make_key_known(&house, caller, &key, request.into_inner()).await?;
    Ok(HttpResponse::Created().json(made))
}

/// Withdraws a key of the caller's farm: what it signed before still holds, nothing after.
#[utoipa::path(tag = "statements",
    params(("key" = String, Path, description = "The key's id, 43 characters"), KeyHeader),
    request_body = Nothing,
    responses((status = 200, description = "Withdrawn", body = KeyView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/keys/{key}/withdraw")]
pub(super) async fn withdraw_key(
    house: Data<House>,
    caller: Grower,
    key: Key,
    id: Path<KeyId>,
    _nothing: Json<Nothing>,
) -> Result<Json<KeyView>, ServerError> {
    attest::withdraw_key(&house, caller, &key, id.into_inner()).await.map(Json)
}

/// The keys of a farm of the network, withdrawn ones too.
#[utoipa::path(tag = "statements",
    params(("farm" = String, Path, format = "uuid", description = "The farm")),
    responses((status = 200, description = "Its keys", body = FarmKeys)),
    extensions(("x-access" = json!("person"))))]
#[get("/farms/{farm}/keys")]
pub(super) async fn farm_keys(
    house: Data<House>,
    caller: Member,
    farm: Path<FarmId>,
) -> Result<Json<FarmKeys>, ServerError> {
    attest::farm_keys(&house, caller, farm.into_inner()).await.map(Json)
}

/// Keeps a signed statement about a lot in the synced stock book of the caller's farm, if it holds.
#[utoipa::path(tag = "statements", operation_id = "keep_statement",
    params(("lot" = String, Path, format = "uuid", description = "The lot"), KeyHeader),
    request_body = KeepStatement,
    responses((status = 201, description = "Kept", body = StatementView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/lots/{lot}/statements")]
pub(super) async fn keep(
    house: Data<House>,
    caller: Grower,
    key: Key,
    lot: Path<LotId>,
    request: Json<KeepStatement>,
) -> Result<HttpResponse, ServerError> {
    let request = request.into_inner();
    let kept = attest::keep(&house, caller, &key, lot.into_inner(), request).await?;
    Ok(HttpResponse::Created().json(kept))
}

/// What farms of the network state about a lot: who, when, on what basis; no verdict.
#[utoipa::path(tag = "statements", operation_id = "lot_statements",
    params(("lot" = String, Path, format = "uuid", description = "The lot")),
    responses((status = 200, description = "What is stated", body = LotStatements)),
    extensions(("x-access" = json!("person"))))]
#[get("/lots/{lot}/statements")]
pub(super) async fn of_lot(
    house: Data<House>,
    caller: Member,
    lot: Path<LotId>,
) -> Result<Json<LotStatements>, ServerError> {
    attest::of_lot(&house, caller, lot.into_inner()).await.map(Json)
}

/// Where a page of keys and statements begins and how long it is.
#[derive(Debug, Clone, Copy, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct FeedPaging {
    /// The position behind which to begin; 0 for the first page.
    #[serde(default)]
    pub after: u64,
    /// Most keys and statements together, 1 to 500; 200 unless told.
    #[param(minimum = 1, maximum = 500)]
    #[serde(default)]
    pub limit: Option<u32>,
}

/// What the network's farms made known behind a position: keys and statements, to be kept and
/// checked without a network.
#[utoipa::path(tag = "statements", operation_id = "statements", params(FeedPaging),
    responses((status = 200, description = "A page", body = StatementFeed)),
    extensions(("x-access" = json!("person"))))]
#[get("/statements")]
pub(super) async fn feed(
    house: Data<House>,
    caller: Member,
    paging: Query<FeedPaging>,
) -> Result<Json<StatementFeed>, ServerError> {
    let limit = Paging { after: None, limit: paging.limit }.limit()?;
    attest::feed(&house, caller, paging.after, limit).await.map(Json)
}
