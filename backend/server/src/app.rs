//! The app: what is mounted where, and what happens around every request.
//!
//! What may not enter: single routes.

use std::time::Duration;

use actix_web::body::MessageBody;
use actix_web::dev::{ServiceFactory, ServiceRequest, ServiceResponse};
use actix_web::error::{JsonPayloadError, UrlencodedError};
use actix_web::http::header::{self, HeaderName, HeaderValue};
use actix_web::middleware::{Next, from_fn};
use actix_web::web::{
    Data, FormConfig, JsonConfig, PathConfig, PayloadConfig, QueryConfig, ServiceConfig,
};
use actix_web::{App, HttpRequest, HttpResponse, ResponseError, web};
use spareloop_api::BASE;
use spareloop_api::problem::ProblemCode;
use utoipa_actix_web::scope;

use crate::auth::policy::enforce;
use crate::error::ServerError;
use crate::house::House;
use crate::openapi::{self, Document};
use crate::pages;
use crate::routes::{self, BODY_LIMIT};

/// How long a request may take.
const LONGEST: Duration = Duration::from_secs(30);

/// What the pages may load: our own stylesheet and pictures, and nothing that runs.
const CONTENT_POLICY: &str = "default-src 'none'; style-src 'self'; img-src 'self'; \
    form-action 'self'; frame-ancestors 'none'; base-uri 'none'";

/// The whole app, as the server and the tests run it.
pub fn app(
    house: Data<House>,
    document: Data<Document>,
) -> App<
    impl ServiceFactory<
        ServiceRequest,
        Config = (),
        Response = ServiceResponse<impl MessageBody>,
        Error = actix_web::Error,
        InitError = (),
    >,
> {
    App::new()
        .wrap(from_fn(enforce))
        .wrap(from_fn(limit_time))
        .wrap(from_fn(guard))
        .configure(|config| configure(config, house, document))
}

/// Mounts everything.
fn configure(config: &mut ServiceConfig, house: Data<House>, document: Data<Document>) {
    config
        .app_data(house)
        .app_data(document)
        .app_data(json_config(JsonConfig::default().limit(BODY_LIMIT)))
        .app_data(form_config())
        .app_data(PayloadConfig::new(BODY_LIMIT))
        .app_data(PathConfig::default().error_handler(|_, _| ServerError::not_found().into()))
        .app_data(QueryConfig::default().error_handler(|error, _| unreadable(&error).into()));
    let mut described = utoipa_actix_web::service_config::ServiceConfig::new(config);
    described.configure(routes::health::configure);
    described.configure(routes::fetched::configure);
    described.service(openapi::serve);
    described.service(scope::scope(BASE).configure(routes::configure));
    pages::configure(config);
    config.default_service(web::to(nothing_here));
}

/// How bodies of JSON are read, and how their faults are told.
pub fn json_config(config: JsonConfig) -> JsonConfig {
    config.error_handler(|error, _| {
        match error {
            JsonPayloadError::Overflow { .. } | JsonPayloadError::OverflowKnownLength { .. } => {
                too_large()
            }
            JsonPayloadError::ContentType => ServerError::refused(
                ProblemCode::BadRequest,
                "The body must be JSON, sent as application/json.",
            ),
            other => unreadable(&other),
        }
        .into()
    })
}

fn form_config() -> FormConfig {
    FormConfig::default().limit(BODY_LIMIT).error_handler(|error, _| {
        match error {
            UrlencodedError::Overflow { .. } => too_large(),
            other => unreadable(&other),
        }
        .into()
    })
}

fn too_large() -> ServerError {
    ServerError::refused(ProblemCode::TooLarge, "The body is larger than is taken here.")
}

fn unreadable(error: &dyn std::error::Error) -> ServerError {
    // The innermost reason names the field.
    let mut innermost = error;
    while let Some(source) = innermost.source() {
        innermost = source;
    }
    ServerError::refused(ProblemCode::BadRequest, format!("It can't be read: {innermost}."))
}

async fn nothing_here(request: HttpRequest, house: Data<House>) -> HttpResponse {
    let known = request.match_pattern().and_then(|pattern| house.policies.methods(&pattern));
    match known {
        Some(allowed) => ServerError::MethodNotAllowed { allowed }.error_response(),
        None if request.path().starts_with(BASE) => ServerError::not_found().error_response(),
        None => pages::nothing_here(&request),
    }
}

/// Ends what takes too long. The work behind it is let finish, and is done once if sent again.
async fn limit_time(
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<impl MessageBody>, actix_web::Error> {
    tokio::time::timeout(LONGEST, next.call(request)).await.unwrap_or_else(|_| {
        let log = format!("a request took longer than {} s", LONGEST.as_secs());
        Err(ServerError::Unavailable { log }.into())
    })
}

/// Adds what keeps browsers strict, and notes the request in the log without its query (set-up
/// links and codes stand there).
async fn guard(
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<impl MessageBody>, actix_web::Error> {
    let (method, path) = (request.method().clone(), request.path().to_owned());
    let begun = std::time::Instant::now();
    let mut response = next.call(request).await?;
    tracing::info!(%method, %path, status = response.status().as_u16(),
        millis = u64::try_from(begun.elapsed().as_millis()).unwrap_or(u64::MAX), "answered");
    let headers = response.headers_mut();
    for (name, value) in STRICT {
        if !headers.contains_key(&name) {
            headers.insert(name, HeaderValue::from_static(value));
        }
    }
    Ok(response)
}

const STRICT: [(HeaderName, &str); 5] = [
    (header::CONTENT_SECURITY_POLICY, CONTENT_POLICY),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::REFERRER_POLICY, "same-origin"),
    (header::X_FRAME_OPTIONS, "DENY"),
    (header::CACHE_CONTROL, "no-store"),
];
