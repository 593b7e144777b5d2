//! The caller's stock as the synced ledger has it.

use actix_web::get;
use actix_web::web::{Data, Json};
use spareloop_api::stock::StockView;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::auth::caller::Grower;
use crate::error::ServerError;
use crate::house::House;

pub(super) fn configure(config: &mut ServiceConfig<'_>) {
    config.service(stock);
}

/// The farm's stock by variety and unit kind, with what is spare and short.
#[utoipa::path(tag = "stock",
    responses((status = 200, description = "The stock", body = StockView)),
    extensions(("x-access" = json!("grower"))))]
#[get("/stock")]
pub(super) async fn stock(
    house: Data<House>,
    caller: Grower,
) -> Result<Json<StockView>, ServerError> {
    crate::acts::stock::stock(&house, caller).await.map(Json)
}
