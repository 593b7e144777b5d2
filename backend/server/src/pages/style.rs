//! Our one stylesheet and our mark: part of the binary, nothing from elsewhere.

use std::sync::LazyLock;

use actix_web::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use actix_web::web::ServiceConfig;
use actix_web::{HttpResponse, get};
use sha2::{Digest, Sha256};

const STYLE: &str = include_str!("../../assets/style.css");
const MARK: &str = include_str!("../../assets/mark.svg");

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(style).service(mark);
}

/// The stylesheet's address: with its own hash, so that browsers may keep it for good.
pub(super) fn address() -> &'static str {
    static ADDRESS: LazyLock<String> = LazyLock::new(|| {
        let digest = Sha256::digest(STYLE.as_bytes());
        format!("/style.css?v={:02x}{:02x}{:02x}{:02x}", digest[0], digest[1], digest[2], digest[3])
    });
    &ADDRESS
}

#[get("/style.css")]
async fn style() -> HttpResponse {
    kept("text/css; charset=utf-8", STYLE)
}

#[get("/mark.svg")]
async fn mark() -> HttpResponse {
    kept("image/svg+xml", MARK)
}

fn kept(kind: &'static str, text: &'static str) -> HttpResponse {
    HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, kind))
        .insert_header((CACHE_CONTROL, "public, max-age=31536000, immutable"))
        .body(text)
}
