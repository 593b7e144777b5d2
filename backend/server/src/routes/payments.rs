//! Money that passed between two farms: recorded, never handled.

use actix_web::web::{Data, Json, Path};
use actix_web::{HttpResponse, post};
use spareloop_api::exchange::HoldView;
use spareloop_api::payments::NotePayment;
use spareloop_domain::exchange::PaymentAct;
use spareloop_domain::words::{HoldId, PaymentId};
use utoipa_actix_web::service_config::ServiceConfig;

use super::Nothing;
use crate::acts::payments;
use crate::auth::caller::Grower;
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::{Key, KeyHeader};

pub(super) fn configure(config: &mut ServiceConfig<'_>) {
    config.service(note).service(confirm).service(deny).service(withdraw);
}

/// One of the two farms notes that money passed for an agreed hold; the other confirms it. Nothing is paid
/// through the server.
#[utoipa::path(tag = "holds", operation_id = "note_payment",
    params(("hold" = String, Path, format = "uuid", description = "The hold"), KeyHeader),
    request_body = NotePayment,
    responses((status = 201, description = "Noted", body = HoldView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/holds/{hold}/payments")]
pub(super) async fn note(
    house: Data<House>,
    caller: Grower,
    key: Key,
    hold: Path<HoldId>,
    request: Json<NotePayment>,
) -> Result<HttpResponse, ServerError> {
    let (hold, request) = (hold.into_inner(), request.into_inner());
    let noted = payments::note(&house, caller, &key, hold, request).await?;
    Ok(HttpResponse::Created().json(noted))
}

/// The other farm confirms a payment: it is on record.
#[utoipa::path(tag = "holds", operation_id = "confirm_payment",
    params(("payment" = String, Path, format = "uuid", description = "The payment"), KeyHeader),
    request_body = Nothing,
    responses((status = 200, description = "Confirmed", body = HoldView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/payments/{payment}/confirm")]
pub(super) async fn confirm(
    house: Data<House>,
    caller: Grower,
    key: Key,
    payment: Path<PaymentId>,
    _nothing: Json<Nothing>,
) -> Result<Json<HoldView>, ServerError> {
    let (payment, what) = (payment.into_inner(), PaymentAct::ConfirmByOther);
    payments::act(&house, caller, &key, payment, what).await.map(Json)
}

/// The other farm says that a payment did not take place like that.
#[utoipa::path(tag = "holds", operation_id = "deny_payment",
    params(("payment" = String, Path, format = "uuid", description = "The payment"), KeyHeader),
    request_body = Nothing,
    responses((status = 200, description = "Denied", body = HoldView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/payments/{payment}/deny")]
pub(super) async fn deny(
    house: Data<House>,
    caller: Grower,
    key: Key,
    payment: Path<PaymentId>,
    _nothing: Json<Nothing>,
) -> Result<Json<HoldView>, ServerError> {
    let (payment, what) = (payment.into_inner(), PaymentAct::DenyByOther);
    payments::act(&house, caller, &key, payment, what).await.map(Json)
}

/// Whoever noted a payment takes it back.
#[utoipa::path(tag = "holds", operation_id = "withdraw_payment",
    params(("payment" = String, Path, format = "uuid", description = "The payment"), KeyHeader),
    request_body = Nothing,
    responses((status = 200, description = "Taken back", body = HoldView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/payments/{payment}/withdraw")]
pub(super) async fn withdraw(
    house: Data<House>,
    caller: Grower,
    key: Key,
    payment: Path<PaymentId>,
    _nothing: Json<Nothing>,
) -> Result<Json<HoldView>, ServerError> {
    let (payment, what) = (payment.into_inner(), PaymentAct::WithdrawByNoter);
    payments::act(&house, caller, &key, payment, what).await.map(Json)
}
