//! The caller's stock as the synced ledger has it, and what the network's other farms saw.

use actix_web::get;
use actix_web::web::{Data, Json};
use spareloop_api::stock::{NetworkSummaryView, StockView};
use utoipa_actix_web::service_config::ServiceConfig;

use crate::auth::caller::Grower;
use crate::error::ServerError;
use crate::house::House;

pub(super) fn configure(config: &mut ServiceConfig<'_>) {
    config.service(stock).service(network_summary);
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

/// What all the other farms of the network saw, taken together: losses in store, emergence, yields.
/// A client keeps it and forecasts with it while there is no network.
#[utoipa::path(tag = "stock", operation_id = "network_summary",
    responses((status = 200, description = "The summary, if there is anything to tell",
        body = NetworkSummaryView)),
    extensions(("x-access" = json!("grower"))))]
#[get("/network/summary")]
pub(super) async fn network_summary(
    house: Data<House>,
    caller: Grower,
) -> Result<Json<NetworkSummaryView>, ServerError> {
    crate::acts::stock::network_summary(&house, caller).await.map(Json)
}
