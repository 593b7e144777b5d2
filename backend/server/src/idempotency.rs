//! The `Idempotency-Key` that every creating or moving POST carries.
//!
//! The key, who sent it and a fingerprint of what was asked go to the store with the act, in one
//! transaction. What may not enter: the record itself.

use std::future::{Ready, ready};

use actix_web::dev::Payload;
use actix_web::{FromRequest, HttpRequest};
use serde::Serialize;
use spareloop_api::problem::ProblemCode;
use spareloop_store::{ActKey, IdempotencyKey, KeyError};

use crate::error::ServerError;
use crate::keys::Keys;

/// The header's name.
pub const HEADER: &str = "Idempotency-Key";

/// A key as it came.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Key(IdempotencyKey);

/// The header, for the OpenAPI document.
#[derive(utoipa::IntoParams)]
#[into_params(parameter_in = Header)]
#[allow(dead_code)]
pub struct KeyHeader {
    /// Made once per act: the same key again gives the same answer and does nothing twice.
    #[param(
        rename = "Idempotency-Key",
        min_length = 8,
        max_length = 64,
        pattern = "^[A-Za-z0-9-]+$"
    )]
    idempotency_key: String,
}

impl Key {
    /// Checks a key: 8 to 64 letters, digits or hyphens.
    pub fn parse(text: &str) -> Result<Self, ServerError> {
        text.parse().map(Self).map_err(|error: KeyError| {
            ServerError::refused(ProblemCode::KeyMissing, format!("{HEADER}: {error}."))
        })
    }

    /// The key of one act: whose it is, and what exactly was asked.
    pub fn act(
        &self,
        keys: &Keys,
        caller: impl std::fmt::Display,
        act: &str,
        asked: &impl Serialize,
    ) -> Result<ActKey, ServerError> {
        let body = serde_json::to_vec(asked)
            .map_err(|error| ServerError::broken(format!("fingerprint: {error}")))?;
        Ok(ActKey {
            caller: caller.to_string(),
            key: self.0.clone(),
            fingerprint: keys.fingerprint(&[act.as_bytes(), &body]),
        })
    }
}

impl FromRequest for Key {
    type Error = ServerError;
    type Future = Ready<Result<Self, ServerError>>;
    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let missing =
            || ServerError::refused(ProblemCode::KeyMissing, "The request came without a key.");
        ready(
            request
                .headers()
                .get(HEADER)
                .ok_or_else(missing)
                .and_then(|value| Self::parse(value.to_str().unwrap_or_default())),
        )
    }
}
