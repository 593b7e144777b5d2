//! What a unit is worth in the caller's network.

use actix_web::HttpResponse;
use actix_web::get;
use actix_web::web::Data;
use spareloop_api::values::ValuesView;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::auth::caller::Member;
use crate::error::ServerError;
use crate::house::House;

pub(super) fn configure(config: &mut ServiceConfig<'_>) {
    config.service(values);
}

/// What a unit of all that is offered or wanted is fairly worth, with the reasons.
#[utoipa::path(tag = "exchange",
    responses((status = 200, description = "The values, and the market they follow from",
        body = ValuesView)),
    extensions(("x-access" = json!("person"))))]
#[get("/network/values")]
pub(super) async fn values(
    house: Data<House>,
    caller: Member,
) -> Result<HttpResponse, ServerError> {
    let values = crate::acts::values::values(&house, caller).await?;
    Ok(HttpResponse::Ok().json(values.as_ref()))
}
