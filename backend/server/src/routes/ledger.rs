//! The ledger's sync, by a device's token.

use actix_web::web::{Data, Json, JsonConfig, Query};
use actix_web::{get, post};
use serde::Deserialize;
use spareloop_api::sync::{Page, Push, Pushed, Summary};
use utoipa::IntoParams;
use utoipa_actix_web::scope;
use utoipa_actix_web::service_config::ServiceConfig;

use super::PUSH_LIMIT;
use crate::acts::ledger;
use crate::auth::caller::Device;
use crate::error::ServerError;
use crate::house::House;

pub(super) fn configure(config: &mut ServiceConfig<'_>) {
    config.service(
        scope::scope("/ledger")
            .app_data(crate::app::json_config(JsonConfig::default().limit(PUSH_LIMIT)))
            .configure(|config| {
                config.service(summary).service(push).service(page);
            }),
    );
}

/// What the server holds of the device's farm.
#[utoipa::path(tag = "ledger", operation_id = "ledger_summary",
    responses((status = 200, description = "Position and chain ends", body = Summary)),
    extensions(("x-access" = json!("device"))))]
#[get("/summary")]
pub(super) async fn summary(
    house: Data<House>,
    caller: Device,
) -> Result<Json<Summary>, ServerError> {
    ledger::summary(&house, caller).await.map(Json)
}

/// Takes entries of the device's farm. Sending them again does no harm: they are known by device,
/// place and hash, so that no key is needed.
#[utoipa::path(tag = "ledger", operation_id = "push_entries", request_body = Push,
    responses((status = 200, description = "How far it got", body = Pushed)),
    extensions(("x-access" = json!("device"))))]
#[post("/entries")]
pub(super) async fn push(
    house: Data<House>,
    caller: Device,
    request: Json<Push>,
) -> Result<Json<Pushed>, ServerError> {
    ledger::push(&house, caller, request.into_inner()).await.map(Json)
}

/// Where a page of the ledger begins and how long it is.
#[derive(Debug, Clone, Copy, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct LedgerPaging {
    /// The position behind which to begin; 0 for the first page.
    #[serde(default)]
    pub after: u64,
    /// Most entries, 1 to 500; 500 unless told.
    #[param(minimum = 1, maximum = 500)]
    #[serde(default)]
    pub limit: Option<u32>,
}

/// A page of the farm's entries in order of position.
#[utoipa::path(tag = "ledger", operation_id = "pull_entries", params(LedgerPaging),
    responses((status = 200, description = "A page", body = Page)),
    extensions(("x-access" = json!("device"))))]
#[get("/entries")]
pub(super) async fn page(
    house: Data<House>,
    caller: Device,
    paging: Query<LedgerPaging>,
) -> Result<Json<Page>, ServerError> {
    ledger::page(&house, caller, paging.after, paging.limit).await.map(Json)
}
