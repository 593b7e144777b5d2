//! The access policies of all operations, and the one check that enforces them.
//!
//! A handler declares its policy beside its path, as `x-access` of its OpenAPI operation. The same
//! document that people read is what this check reads, so that the two can't differ; a server
//! with an operation that declares none doesn't start. What may not enter: rules about single
//! things (whose offer this is), which are in the queries.

use std::collections::BTreeMap;

use actix_web::HttpMessage;
use actix_web::body::{EitherBody, MessageBody};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::Method;
use actix_web::middleware::Next;
use actix_web::web::Data;
use spareloop_api::access::Access;
use utoipa::openapi::OpenApi;
use utoipa::openapi::path::{Operation, PathItem};

use super::caller::{self, Caller};
use crate::error::ServerError;
use crate::house::House;

/// The name under which an operation carries its policy.
pub const EXTENSION: &str = "x-access";

/// An operation that declares no policy, or one that we don't know.
#[derive(Debug, thiserror::Error)]
#[error("{method} {path} declares no access policy in {EXTENSION}")]
pub struct NoPolicy {
    /// The operation's method.
    pub method: String,
    /// The operation's path.
    pub path: String,
}

/// Who may call what: by path, then by method.
#[derive(Debug, Clone, Default)]
pub struct Policies(BTreeMap<String, BTreeMap<String, Access>>);

impl Policies {
    /// Reads the policies from the document.
    pub fn read(document: &OpenApi) -> Result<Self, NoPolicy> {
        let mut policies = Self::default();
        for (path, item) in &document.paths.paths {
            for (method, operation) in operations(item) {
                let access = declared(operation)
                    .ok_or_else(|| NoPolicy { method: method.to_owned(), path: path.clone() })?;
                policies.0.entry(path.clone()).or_default().insert(method.to_owned(), access);
            }
        }
        Ok(policies)
    }

    /// The policy of an operation.
    pub fn of(&self, path: &str, method: &Method) -> Option<Access> {
        self.0.get(path)?.get(method.as_str()).copied()
    }

    /// The methods that a path knows, for the `Allow` header.
    pub fn methods(&self, path: &str) -> Option<String> {
        let methods: Vec<&str> = self.0.get(path)?.keys().map(String::as_str).collect();
        Some(methods.join(", "))
    }

    /// Every operation with its policy.
    pub fn all(&self) -> impl Iterator<Item = (&str, &str, Access)> {
        self.0.iter().flat_map(|(path, methods)| {
            methods.iter().map(move |(method, access)| (path.as_str(), method.as_str(), *access))
        })
    }
}

/// The operations of a path, each with its method.
pub fn operations(item: &PathItem) -> impl Iterator<Item = (&'static str, &Operation)> {
    [
        ("GET", item.get.as_ref()),
        ("PUT", item.put.as_ref()),
        ("POST", item.post.as_ref()),
        ("DELETE", item.delete.as_ref()),
        ("PATCH", item.patch.as_ref()),
    ]
    .into_iter()
    .filter_map(|(method, operation)| Some((method, operation?)))
}

fn declared(operation: &Operation) -> Option<Access> {
    let value = operation.extensions.as_ref()?.get(EXTENSION)?;
    serde_json::from_value(value.clone()).ok()
}

/// Checks a request against the policy of its operation before any handler sees it.
pub async fn enforce(
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<EitherBody<impl MessageBody>>, actix_web::Error> {
    match admitted(&request).await {
        Ok(caller) => {
            if let Some(caller) = caller {
                request.extensions_mut().insert(caller);
            }
            Ok(next.call(request).await?.map_into_left_body())
        }
        Err(error) => Ok(request.error_response(error).map_into_right_body()),
    }
}

async fn admitted(request: &ServiceRequest) -> Result<Option<Caller>, ServerError> {
    let house = request
        .app_data::<Data<House>>()
        .ok_or_else(|| ServerError::broken("the app was built without its house"))?;
    let policy =
        request.match_pattern().and_then(|pattern| house.policies.of(&pattern, request.method()));
    match policy {
        Some(access) => caller::admit(house, request.request(), access).await,
        // A page, which has its own door, or nothing that is served.
        None => Ok(None),
    }
}
