//! What is fetched under a secret address: the feed and the calendar.
//!
//! Programs that ask every hour are told by an `ETag` when nothing changed. The secret stands in the
//! query, which our log leaves out.

use actix_web::http::header::{CACHE_CONTROL, CONTENT_TYPE, ETAG, EntityTag, Header, IfNoneMatch};
use actix_web::web::{Data, Query};
use actix_web::{HttpRequest, HttpResponse, get};
use serde::Deserialize;
use spareloop_api::people::Secret;
use spareloop_store::SecretHash;
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::acts::channels;
use crate::error::ServerError;
use crate::house::House;

/// Mounted outside of the versioned interface.
pub fn configure(config: &mut ServiceConfig<'_>) {
    config.service(feed).service(calendar);
}

/// The secret of an address.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub(super) struct Opens {
    /// As it was shown when the channel was made.
    #[param(value_type = String)]
    token: Secret,
}

/// What the farm was told, newest first, as an Atom feed (RFC 4287).
#[utoipa::path(tag = "channels", operation_id = "farm_feed", params(Opens),
    responses((status = 200, description = "The feed", body = String,
        content_type = "application/atom+xml"),
        (status = 304, description = "As it was")),
    extensions(("x-access" = json!("anybody"))))]
#[get("/feed.atom")]
pub(super) async fn feed(
    house: Data<House>,
    opens: Query<Opens>,
    request: HttpRequest,
) -> Result<HttpResponse, ServerError> {
    let text = channels::feed(&house, &opens.token.0).await?;
    Ok(answer(&request, "application/atom+xml; charset=utf-8", text))
}

/// What the farm has to mind, as an iCalendar file (RFC 5545): lots due for a look, holds that
/// lapse, wants that are needed.
#[utoipa::path(tag = "channels", operation_id = "farm_calendar", params(Opens),
    responses((status = 200, description = "The calendar", body = String,
        content_type = "text/calendar"),
        (status = 304, description = "As it was")),
    extensions(("x-access" = json!("anybody"))))]
#[get("/calendar.ics")]
pub(super) async fn calendar(
    house: Data<House>,
    opens: Query<Opens>,
    request: HttpRequest,
) -> Result<HttpResponse, ServerError> {
    let text = channels::calendar(&house, &opens.token.0).await?;
    Ok(answer(&request, "text/calendar; charset=utf-8", text))
}

fn answer(request: &HttpRequest, kind: &'static str, text: String) -> HttpResponse {
    let tag = EntityTag::new_strong(SecretHash::of(&text).to_string());
    let is_as_it_was = match IfNoneMatch::parse(request) {
        Ok(IfNoneMatch::Items(known)) => known.iter().any(|one| one.weak_eq(&tag)),
        Ok(IfNoneMatch::Any) | Err(_) => false,
    };
    let mut response = if is_as_it_was { HttpResponse::NotModified() } else { HttpResponse::Ok() };
    response.insert_header((ETAG, tag)).insert_header((CACHE_CONTROL, "private, no-cache"));
    if is_as_it_was {
        return response.finish();
    }
    response.insert_header((CONTENT_TYPE, kind)).body(text)
}
