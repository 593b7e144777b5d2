//! Offers, wants, the sheet, matches, the owed book, messages.

use actix_web::web::{Data, Json, Path, Query};
use actix_web::{HttpResponse, get, post};
use serde::Deserialize;
use spareloop_api::exchange::{
    Board, MakeOffer, MakeWant, Matches, Messages, OfferView, OwedBook, WantView,
};
use spareloop_domain::words::{OfferId, WantId};
use spareloop_store::offers::Sought;
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use super::{Nothing, Paging};
use crate::acts::{exchange, field};
use crate::auth::caller::{Grower, Member};
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::{Key, KeyHeader};

pub(super) fn configure(config: &mut ServiceConfig<'_>) {
    config
        .service(make_offer)
        .service(one_offer)
        .service(withdraw_offer)
        .service(make_want)
        .service(withdraw_want)
        .service(board)
        .service(matches)
        .service(owed)
        .service(messages);
}

/// Offers spare of one lot to the network.
#[utoipa::path(tag = "exchange", params(KeyHeader), request_body = MakeOffer,
    responses((status = 201, description = "Offered", body = OfferView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/offers")]
pub(super) async fn make_offer(
    house: Data<House>,
    caller: Grower,
    key: Key,
    request: Json<MakeOffer>,
) -> Result<HttpResponse, ServerError> {
    let made = exchange::make_offer(&house, caller, &key, request.into_inner()).await?;
    Ok(HttpResponse::Created().json(made))
}

/// One offer of the network, with its survival history.
#[utoipa::path(tag = "exchange", operation_id = "offer",
    params(("offer" = String, Path, format = "uuid", description = "The offer")),
    responses((status = 200, description = "The offer", body = OfferView)),
    extensions(("x-access" = json!("person"))))]
#[get("/offers/{offer}")]
pub(super) async fn one_offer(
    house: Data<House>,
    caller: Member,
    offer: Path<OfferId>,
) -> Result<Json<OfferView>, ServerError> {
    exchange::offer(&house, caller, offer.into_inner()).await.map(Json)
}

/// Withdraws an offer of the caller's farm. Holds on it stay.
#[utoipa::path(tag = "exchange",
    params(("offer" = String, Path, format = "uuid", description = "The offer"), KeyHeader),
    request_body = Nothing,
    responses((status = 200, description = "Withdrawn", body = OfferView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/offers/{offer}/withdraw")]
pub(super) async fn withdraw_offer(
    house: Data<House>,
    caller: Grower,
    key: Key,
    offer: Path<OfferId>,
    _nothing: Json<Nothing>,
) -> Result<Json<OfferView>, ServerError> {
    exchange::withdraw_offer(&house, caller, &key, offer.into_inner()).await.map(Json)
}

/// Says to the network what the farm lacks.
#[utoipa::path(tag = "exchange", params(KeyHeader), request_body = MakeWant,
    responses((status = 201, description = "Wanted", body = WantView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/wants")]
pub(super) async fn make_want(
    house: Data<House>,
    caller: Grower,
    key: Key,
    request: Json<MakeWant>,
) -> Result<HttpResponse, ServerError> {
    let made = exchange::make_want(&house, caller, &key, request.into_inner()).await?;
    Ok(HttpResponse::Created().json(made))
}

/// Withdraws a want of the caller's farm.
#[utoipa::path(tag = "exchange",
    params(("want" = String, Path, format = "uuid", description = "The want"), KeyHeader),
    request_body = Nothing,
    responses((status = 200, description = "Withdrawn", body = WantView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/wants/{want}/withdraw")]
pub(super) async fn withdraw_want(
    house: Data<House>,
    caller: Grower,
    key: Key,
    want: Path<WantId>,
    _nothing: Json<Nothing>,
) -> Result<Json<WantView>, ServerError> {
    exchange::withdraw_want(&house, caller, &key, want.into_inner()).await.map(Json)
}

/// What is sought on the sheet.
#[derive(Debug, Clone, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub(super) struct Seeking {
    /// A variety's name, whatever its case, accents and quotes; of wants the one wanted first.
    #[serde(default)]
    variety: Option<String>,
    /// A unit kind, as `division`.
    #[serde(default)]
    unit: Option<String>,
}

impl Seeking {
    fn sought(&self) -> Result<Sought, ServerError> {
        let variety = self.variety.as_deref().map(|name| field("variety", name)).transpose()?;
        let unit = self.unit.as_deref().map(|name| field("unit", name)).transpose()?;
        Ok(Sought { variety, unit })
    }
}

/// The network's spare and short sheet: open offers and open wants.
///
/// A page holds at most `limit` of each; send the last id seen of either as `after` to go on.
#[utoipa::path(tag = "exchange", params(Paging, Seeking),
    responses((status = 200, description = "The sheet", body = Board)),
    extensions(("x-access" = json!("person"))))]
#[get("/board")]
pub(super) async fn board(
    house: Data<House>,
    caller: Member,
    paging: Query<Paging>,
    seeking: Query<Seeking>,
) -> Result<Json<Board>, ServerError> {
    let sought = seeking.into_inner().sought()?;
    exchange::board_of(&house, caller, sought, paging.after, paging.limit()?).await.map(Json)
}

/// Who has what the caller's farm lacks, and lacks what it has.
#[utoipa::path(tag = "exchange",
    responses((status = 200, description = "Mutual ones first", body = Matches)),
    extensions(("x-access" = json!("grower"))))]
#[get("/matches")]
pub(super) async fn matches(
    house: Data<House>,
    caller: Grower,
) -> Result<Json<Matches>, ServerError> {
    exchange::matches(&house, caller).await.map(Json)
}

/// The network's owed book: balances of all farms, postings of the caller's.
#[utoipa::path(tag = "exchange",
    responses((status = 200, description = "The owed book", body = OwedBook)),
    extensions(("x-access" = json!("person"))))]
#[get("/owed")]
pub(super) async fn owed(
    house: Data<House>,
    caller: Member,
) -> Result<Json<OwedBook>, ServerError> {
    exchange::owed(&house, caller).await.map(Json)
}

/// What the farm is told, newest first; `after` is the last one seen, the page goes on before it.
#[utoipa::path(tag = "exchange", params(Paging),
    responses((status = 200, description = "The messages", body = Messages)),
    extensions(("x-access" = json!("grower"))))]
#[get("/messages")]
pub(super) async fn messages(
    house: Data<House>,
    caller: Grower,
    paging: Query<Paging>,
) -> Result<Json<Messages>, ServerError> {
    exchange::messages(&house, caller, paging.after, paging.limit()?).await.map(Json)
}
