//! The interface under `/api/v1`, one module a subject, and what every handler shares.
//!
//! Each handler declares its access policy beside its path (`x-access`) and calls one function of
//! [`crate::acts`]. What may not enter: rules, SQL, HTML.

pub mod attest;
pub mod channels;
pub mod claims;
pub mod devices;
pub mod distances;
pub mod exchange;
pub mod fetched;
pub mod health;
pub mod holds;
pub mod ledger;
pub mod movement;
pub mod parcels;
pub mod payments;
pub mod people;
pub mod photos;
pub mod questions;
pub mod rounds;
pub mod stock;
pub mod turns;
pub mod values;

use std::future::{Ready, ready};
use std::net::{IpAddr, Ipv4Addr};

use actix_web::dev::Payload;
use actix_web::web::Data;
use actix_web::{FromRequest, HttpRequest};
use serde::Deserialize;
use spareloop_api::problem::ProblemCode;
use utoipa::IntoParams;
use utoipa_actix_web::service_config::ServiceConfig;
use uuid::Uuid;

use crate::config::Front;
use crate::error::ServerError;
use crate::house::House;

/// Most bytes of a request's body.
pub const BODY_LIMIT: usize = 256 * 1024;
/// Most bytes of a push of ledger entries.
pub const PUSH_LIMIT: usize = 4 * 1024 * 1024;

/// Every operation of the interface.
pub fn configure(config: &mut ServiceConfig<'_>) {
    people::configure(config);
    devices::configure(config);
    stock::configure(config);
    values::configure(config);
    exchange::configure(config);
    holds::configure(config);
    parcels::configure(config);
    payments::configure(config);
    claims::configure(config);
    questions::configure(config);
    turns::configure(config);
    rounds::configure(config);
    movement::configure(config);
    distances::configure(config);
    photos::configure(config);
    attest::configure(config);
    channels::configure(config);
    ledger::configure(config);
}

/// The address that a call came from, for throttling.
#[derive(Debug, Clone, Copy)]
pub struct CallerAddress(pub IpAddr);

impl FromRequest for CallerAddress {
    type Error = ServerError;
    type Future = Ready<Result<Self, ServerError>>;
    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let front = request.app_data::<Data<House>>().map(|house| house.reached.front);
        let told = match front {
            // The last one is what the front itself saw; whatever stands before it, callers wrote.
            Some(Front::Trusted) => request
                .headers()
                .get("X-Forwarded-For")
                .and_then(|value| value.to_str().ok()?.rsplit(',').next()?.trim().parse().ok()),
            _ => None,
        };
        let peer = request.peer_addr().map(|peer| peer.ip());
        ready(Ok(Self(told.or(peer).unwrap_or(IpAddr::V4(Ipv4Addr::UNSPECIFIED)))))
    }
}

/// Where a page of a list begins and how long it is.
#[derive(Debug, Clone, Copy, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct Paging {
    /// The id of the last one already seen.
    #[serde(default)]
    pub after: Option<Uuid>,
    /// Most in one page, 1 to 500; 200 unless told.
    #[param(minimum = 1, maximum = 500)]
    #[serde(default)]
    pub limit: Option<u32>,
}

impl Paging {
    const MOST: u32 = 500;
    const USUAL: u32 = 200;

    /// The page's length.
    pub fn limit(self) -> Result<u32, ServerError> {
        match self.limit.unwrap_or(Self::USUAL) {
            limit @ 1..=Self::MOST => Ok(limit),
            other => Err(ServerError::refused(
                ProblemCode::BadRequest,
                format!("limit: 1 to {} (got {other}).", Self::MOST),
            )),
        }
    }
}

/// What a body that carries nothing looks like.
#[derive(Debug, Clone, Copy, Default, Deserialize, serde::Serialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Nothing {}
