//! Whether the server lives, and whether it can answer.

use actix_web::get;
use actix_web::web::{Data, Json};
use serde::Serialize;
use utoipa::ToSchema;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::error::ServerError;
use crate::house::House;

/// Mounted outside of the versioned interface.
pub fn configure(config: &mut ServiceConfig<'_>) {
    config.service(live).service(ready);
}

/// How the server is.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Health {
    /// `ok`.
    pub status: &'static str,
    /// The server's version.
    pub version: &'static str,
}

const OK: Health = Health { status: "ok", version: env!("CARGO_PKG_VERSION") };

/// The process answers.
#[utoipa::path(tag = "health",
    responses((status = 200, description = "It lives", body = Health)),
    extensions(("x-access" = json!("anybody"))))]
#[get("/health/live")]
pub(super) async fn live() -> Json<Health> {
    Json(OK)
}

/// The process answers and reaches its database.
#[utoipa::path(tag = "health",
    responses((status = 200, description = "It can answer", body = Health)),
    extensions(("x-access" = json!("anybody"))))]
#[get("/health/ready")]
pub(super) async fn ready(house: Data<House>) -> Result<Json<Health>, ServerError> {
    house.off_thread(spareloop_store::Store::ping).await?;
    Ok(Json(OK))
}
