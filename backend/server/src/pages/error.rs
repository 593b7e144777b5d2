//! Refusals as a page: the same words that the interface gives, with what to do next.
//!
//! What may not enter: forms. One that is refused shows what was typed again ([`super::form`]).

use actix_web::http::StatusCode;
use actix_web::http::header::LOCATION;
use actix_web::{HttpRequest, HttpResponse, ResponseError};
use askama::Template;
use spareloop_api::problem::{Problem, ProblemCode};

use super::layout::Page;
use crate::error::ServerError;

/// Why a page isn't shown.
#[derive(Debug, thiserror::Error)]
pub(super) enum PageError {
    /// Somebody must sign in first, and is then led on.
    #[error("sign-in needed")]
    SignIn {
        /// Where to, afterwards.
        next: String,
    },
    /// The form came without our token, or with one of a sign-in that is over.
    #[error("a form came without our token")]
    FormTooOld,
    /// Refused as the interface would.
    #[error(transparent)]
    Told(#[from] ServerError),
}

impl PageError {
    fn problem(&self) -> Problem {
        match self {
            Self::SignIn { .. } => ServerError::sign_in_needed().problem(),
            Self::Told(error) => error.problem(),
            Self::FormTooOld => Problem {
                title: "This form can't be taken".to_owned(),
                hint: "Open the page again and fill it in there; if you are asked to, sign in."
                    .to_owned(),
                ..Problem::new(
                    ProblemCode::NotAllowed,
                    "It didn't come from a page of this server, or your sign-in has ended since. \
                     Nothing was changed.",
                )
            },
        }
    }
}

#[derive(Template)]
#[template(path = "problem.html")]
struct ProblemPage {
    page: Page,
    problem: Problem,
}

impl ResponseError for PageError {
    fn status_code(&self) -> StatusCode {
        match self {
            Self::SignIn { .. } => StatusCode::SEE_OTHER,
            Self::FormTooOld => StatusCode::FORBIDDEN,
            Self::Told(error) if error.code() == ProblemCode::SignInNeeded => StatusCode::SEE_OTHER,
            Self::Told(error) => error.status_code(),
        }
    }

    fn error_response(&self) -> HttpResponse {
        let mut response = HttpResponse::build(self.status_code());
        if let Self::Told(error) = self {
            error.log();
            error.add_headers(|name, value| {
                response.insert_header((name, value));
            });
        }
        if self.status_code() == StatusCode::SEE_OTHER {
            let next = if let Self::SignIn { next } = self { next } else { "/" };
            return response.insert_header((LOCATION, sign_in_address(next))).finish();
        }
        let problem = self.problem();
        let page = Page::bare(&problem.title).gone_wrong();
        match (ProblemPage { page, problem }).render() {
            Ok(html) => response.content_type("text/html; charset=utf-8").body(html),
            Err(_) => response.finish(),
        }
    }
}

fn sign_in_address(next: &str) -> String {
    if next == "/" {
        return "/sign-in".to_owned();
    }
    format!("/sign-in?{}", super::form::encode("next", next))
}

/// What is answered where no page is.
pub fn nothing_here(_: &HttpRequest) -> HttpResponse {
    PageError::from(ServerError::not_found()).error_response()
}
