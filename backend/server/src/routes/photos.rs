//! Photos beside offers, holds and claims.

use actix_web::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use actix_web::web::{Bytes, Data, Json, Path, Payload, Query};
use actix_web::{HttpResponse, get, post};
use serde::Deserialize;
use spareloop_api::photos::PhotoView;
use spareloop_api::problem::ProblemCode;
use spareloop_domain::exchange::photo::PhotoOf;
use spareloop_domain::words::{ClaimId, HoldId, OfferId, PhotoId};
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use super::Nothing;
use crate::acts::photos;
use crate::auth::caller::{Grower, Member};
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::{Key, KeyHeader};
use crate::pictures::PICTURE_LIMIT;

pub(super) fn configure(config: &mut ServiceConfig<'_>) {
    config
        .service(of_offer)
        .service(put_of_offer)
        .service(of_hold)
        .service(put_of_hold)
        .service(of_claim)
        .service(put_of_claim)
        .service(picture)
        .service(remove);
}

/// The id of a photo about to be put somewhere.
#[derive(Debug, Clone, Copy, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct NewPhotoId {
    /// The photo's id, made by the client before it is sent.
    #[param(value_type = String, format = "uuid")]
    photo: PhotoId,
}

async fn put(
    house: &House,
    caller: Grower,
    key: &Key,
    what: (PhotoId, PhotoOf),
    body: Payload,
) -> Result<HttpResponse, ServerError> {
    let too_large = || {
        let most = PICTURE_LIMIT / 1024 / 1024;
        let why = format!("A picture has at most {most} MB.");
        ServerError::refused(ProblemCode::TooLarge, why)
    };
    let unread = |_| ServerError::refused(ProblemCode::BadRequest, "The picture can't be read.");
    let file: Bytes =
        body.to_bytes_limited(PICTURE_LIMIT).await.map_err(|_| too_large())?.map_err(unread)?;
    let made = photos::put(house, caller, key, what, file.to_vec()).await?;
    Ok(HttpResponse::Created().json(made))
}

/// The photos beside an offer, oldest first.
#[utoipa::path(tag = "photos", operation_id = "photos_of_offer",
    params(("offer" = String, Path, format = "uuid", description = "The offer")),
    responses((status = 200, description = "The photos", body = [PhotoView])),
    extensions(("x-access" = json!("person"))))]
#[get("/offers/{offer}/photos")]
pub(super) async fn of_offer(
    house: Data<House>,
    caller: Member,
    offer: Path<OfferId>,
) -> Result<Json<Vec<PhotoView>>, ServerError> {
    photos::list(&house, caller, PhotoOf::Offer(offer.into_inner())).await.map(Json)
}

/// Puts a photo beside an offer of the caller's farm, for the network to see: a JPEG or PNG. It is kept
/// upright, at most 1600 pixels long, without anything else that the camera wrote.
#[utoipa::path(tag = "photos", operation_id = "put_photo_of_offer",
    params(("offer" = String, Path, format = "uuid", description = "The offer"), NewPhotoId, KeyHeader),
    request_body(content = Vec<u8>, content_type = "application/octet-stream"),
    responses((status = 201, description = "Put there", body = PhotoView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/offers/{offer}/photos")]
pub(super) async fn put_of_offer(
    house: Data<House>,
    caller: Grower,
    key: Key,
    offer: Path<OfferId>,
    new: Query<NewPhotoId>,
    body: Payload,
) -> Result<HttpResponse, ServerError> {
    put(&house, caller, &key, (new.photo, PhotoOf::Offer(offer.into_inner())), body).await
}

/// The photos beside a hold, oldest first; for its two farms.
#[utoipa::path(tag = "photos", operation_id = "photos_of_hold",
    params(("hold" = String, Path, format = "uuid", description = "The hold")),
    responses((status = 200, description = "The photos", body = [PhotoView])),
    extensions(("x-access" = json!("person"))))]
#[get("/holds/{hold}/photos")]
pub(super) async fn of_hold(
    house: Data<House>,
    caller: Member,
    hold: Path<HoldId>,
) -> Result<Json<Vec<PhotoView>>, ServerError> {
    photos::list(&house, caller, PhotoOf::Hold(hold.into_inner())).await.map(Json)
}

/// Puts a photo of what is handed over or arrived beside its hold, for the two farms to see.
#[utoipa::path(tag = "photos", operation_id = "put_photo_of_hold",
    params(("hold" = String, Path, format = "uuid", description = "The hold"), NewPhotoId, KeyHeader),
    request_body(content = Vec<u8>, content_type = "application/octet-stream"),
    responses((status = 201, description = "Put there", body = PhotoView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/holds/{hold}/photos")]
pub(super) async fn put_of_hold(
    house: Data<House>,
    caller: Grower,
    key: Key,
    hold: Path<HoldId>,
    new: Query<NewPhotoId>,
    body: Payload,
) -> Result<HttpResponse, ServerError> {
    put(&house, caller, &key, (new.photo, PhotoOf::Hold(hold.into_inner())), body).await
}

/// The photos beside a claim, oldest first; for its two farms and the coordinator.
#[utoipa::path(tag = "photos", operation_id = "photos_of_claim",
    params(("claim" = String, Path, format = "uuid", description = "The claim")),
    responses((status = 200, description = "The photos", body = [PhotoView])),
    extensions(("x-access" = json!("person"))))]
#[get("/claims/{claim}/photos")]
pub(super) async fn of_claim(
    house: Data<House>,
    caller: Member,
    claim: Path<ClaimId>,
) -> Result<Json<Vec<PhotoView>>, ServerError> {
    photos::list(&house, caller, PhotoOf::Claim(claim.into_inner())).await.map(Json)
}

/// Puts a photo beside a claim, for its two farms and the coordinator to see. It stays on record.
#[utoipa::path(tag = "photos", operation_id = "put_photo_of_claim",
    params(("claim" = String, Path, format = "uuid", description = "The claim"), NewPhotoId, KeyHeader),
    request_body(content = Vec<u8>, content_type = "application/octet-stream"),
    responses((status = 201, description = "Put there", body = PhotoView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/claims/{claim}/photos")]
pub(super) async fn put_of_claim(
    house: Data<House>,
    caller: Grower,
    key: Key,
    claim: Path<ClaimId>,
    new: Query<NewPhotoId>,
    body: Payload,
) -> Result<HttpResponse, ServerError> {
    put(&house, caller, &key, (new.photo, PhotoOf::Claim(claim.into_inner())), body).await
}

/// One photo's picture.
#[utoipa::path(tag = "photos", operation_id = "picture",
    params(("photo" = String, Path, format = "uuid", description = "The photo")),
    responses((status = 200, description = "The picture", body = Vec<u8>, content_type = "image/jpeg")),
    extensions(("x-access" = json!("person"))))]
#[get("/photos/{photo}")]
pub(super) async fn picture(
    house: Data<House>,
    caller: Member,
    photo: Path<PhotoId>,
) -> Result<HttpResponse, ServerError> {
    photos::picture(&house, caller, photo.into_inner()).await.map(jpeg)
}

/// A picture never changes under its id; a browser may keep it for a day.
pub fn jpeg(file: Vec<u8>) -> HttpResponse {
    HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, "image/jpeg"))
        .insert_header((CACHE_CONTROL, "private, max-age=86400, immutable"))
        .body(file)
}

/// Takes a photo of the caller's farm back; what stands beside a claim stays on record.
#[utoipa::path(tag = "photos", operation_id = "remove_photo",
    params(("photo" = String, Path, format = "uuid", description = "The photo"), KeyHeader),
    request_body = Nothing,
    responses((status = 204, description = "Removed")),
    extensions(("x-access" = json!("grower"))))]
#[post("/photos/{photo}/remove")]
pub(super) async fn remove(
    house: Data<House>,
    caller: Grower,
    key: Key,
    photo: Path<PhotoId>,
    _: Json<Nothing>,
) -> Result<HttpResponse, ServerError> {
    photos::remove(&house, caller, &key, photo.into_inner()).await?;
    Ok(HttpResponse::NoContent().finish())
}
