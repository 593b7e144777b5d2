//! What is shown once: it travels from the POST that made it to the page behind it in a cookie of a few
//! minutes, kept to that page, which the page takes back.
//!
//! What may not enter: what it is.

use actix_web::cookie::time::Duration;
use actix_web::cookie::{Cookie, SameSite};
use actix_web::{HttpRequest, HttpResponse};

use super::session::Visitor;
use crate::error::ServerError;

/// A secret on its way to the one page that shows it.
#[derive(Debug, Clone, Copy)]
pub(super) struct ShownOnce {
    /// The cookie's name.
    pub(super) name: &'static str,
    /// The page's path.
    pub(super) page: &'static str,
}

impl ShownOnce {
    /// What is on its way, if anything is.
    pub(super) fn read(self, request: &HttpRequest) -> Option<String> {
        request.cookie(self.name).map(|cookie| cookie.value().to_owned())
    }

    /// Sends it on its way.
    pub(super) fn send(
        self,
        answer: &mut HttpResponse,
        visitor: &Visitor,
        value: String,
    ) -> Result<(), ServerError> {
        self.add(answer, visitor, value, Duration::minutes(5))
    }

    /// It was shown: the browser may forget it.
    pub(super) fn forget(
        self,
        answer: &mut HttpResponse,
        visitor: &Visitor,
    ) -> Result<(), ServerError> {
        self.add(answer, visitor, String::new(), Duration::ZERO)
    }

    fn add(
        self,
        answer: &mut HttpResponse,
        visitor: &Visitor,
        value: String,
        lasts: Duration,
    ) -> Result<(), ServerError> {
        let cookie = Cookie::build(self.name, value)
            .path(self.page)
            .http_only(true)
            .same_site(SameSite::Strict)
            .secure(visitor.house.reached.by_tls())
            .max_age(lasts)
            .finish();
        let added = answer.add_cookie(&cookie);
        added.map_err(|error| ServerError::broken(format!("a cookie: {error}")))
    }
}
