//! Channels by which the caller's farm is told things.

use actix_web::web::{Data, Json, Path};
use actix_web::{HttpResponse, get, post};
use spareloop_api::channels::{AddChannel, ChangeChannel, ChannelMade, ChannelView, Channels};
use spareloop_domain::words::ChannelId;
use utoipa_actix_web::service_config::ServiceConfig;

use super::Nothing;
use crate::acts::channels;
use crate::auth::caller::Grower;
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::{Key, KeyHeader};

pub(super) fn configure(config: &mut ServiceConfig<'_>) {
    config.service(list).service(add).service(change).service(remake).service(end);
}

/// Lists the farm's channels, and says whether this server sends letters.
#[utoipa::path(tag = "channels", operation_id = "channels",
    responses((status = 200, description = "The channels", body = Channels)),
    extensions(("x-access" = json!("grower"))))]
#[get("/channels")]
pub(super) async fn list(
    house: Data<House>,
    caller: Grower,
) -> Result<Json<Channels>, ServerError> {
    channels::list(&house, caller).await.map(Json)
}

/// Adds a channel. What opens it is in the answer and nowhere else. An address of e-mail is asked by
/// a letter first; a webhook's must be HTTPS and of the open internet.
#[utoipa::path(tag = "channels", operation_id = "add_channel", params(KeyHeader),
    request_body = AddChannel,
    responses((status = 201, description = "Added", body = ChannelMade)),
    extensions(("x-access" = json!("grower"))))]
#[post("/channels")]
pub(super) async fn add(
    house: Data<House>,
    caller: Grower,
    key: Key,
    request: Json<AddChannel>,
) -> Result<HttpResponse, ServerError> {
    let made = channels::add(&house, caller, &key, request.into_inner()).await?;
    Ok(HttpResponse::Created().json(made))
}

/// Changes what a channel of e-mail brings.
#[utoipa::path(tag = "channels", operation_id = "change_channel",
    params(("channel" = String, Path, format = "uuid", description = "The channel"), KeyHeader),
    request_body = ChangeChannel,
    responses((status = 200, description = "Changed", body = ChannelView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/channels/{channel}/change")]
pub(super) async fn change(
    house: Data<House>,
    caller: Grower,
    key: Key,
    channel: Path<ChannelId>,
    request: Json<ChangeChannel>,
) -> Result<Json<ChannelView>, ServerError> {
    let (id, request) = (channel.into_inner(), request.into_inner());
    channels::change(&house, caller, &key, id, request).await.map(Json)
}

/// Gives a feed, calendar or webhook a new secret; the old one stops working at once.
#[utoipa::path(tag = "channels", operation_id = "remake_channel",
    params(("channel" = String, Path, format = "uuid", description = "The channel"), KeyHeader),
    request_body = Nothing,
    responses((status = 200, description = "Remade", body = ChannelMade)),
    extensions(("x-access" = json!("grower"))))]
#[post("/channels/{channel}/remake")]
pub(super) async fn remake(
    house: Data<House>,
    caller: Grower,
    key: Key,
    channel: Path<ChannelId>,
    _nothing: Json<Nothing>,
) -> Result<Json<ChannelMade>, ServerError> {
    channels::remake(&house, caller, &key, channel.into_inner()).await.map(Json)
}

/// Ends a channel; what still waited is dropped.
#[utoipa::path(tag = "channels", operation_id = "end_channel",
    params(("channel" = String, Path, format = "uuid", description = "The channel"), KeyHeader),
    request_body = Nothing,
    responses((status = 200, description = "Ended", body = ChannelView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/channels/{channel}/end")]
pub(super) async fn end(
    house: Data<House>,
    caller: Grower,
    key: Key,
    channel: Path<ChannelId>,
    _nothing: Json<Nothing>,
) -> Result<Json<ChannelView>, ServerError> {
    channels::end(&house, caller, &key, channel.into_inner()).await.map(Json)
}
