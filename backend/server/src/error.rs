//! The ladder of errors, from the rule that was broken to the words on the wire.
//!
//! ```text
//! domain refusals   enums with data: which rule, which numbers
//! store errors      outage, conflict, missing, refused, corrupt
//! ServerError       this file: a stable code and a detail for people; log text goes to the log
//! Problem           RFC 9457 on the wire (spareloop-api); pages show the same words
//! client error      message, hint, exit code (the command line)
//! ```
//!
//! An outage is never told as "not found", and what only helps an attacker or an operator stays
//! in the log. What may not enter: HTML.

use actix_web::http::StatusCode;
use actix_web::http::header::{ALLOW, CONTENT_TYPE, HeaderValue, RETRY_AFTER, WWW_AUTHENTICATE};
use actix_web::{HttpResponse, ResponseError};
use spareloop_api::problem::{Problem, ProblemCode};
use spareloop_store::{Conflict, Refused, StoreError};

/// Why a request isn't answered as asked.
#[derive(Debug, thiserror::Error)]
pub enum ServerError {
    /// Refused with a code, and with what happened this time in words for people.
    #[error("{}: {detail}", code.code())]
    Refused {
        /// The stable code.
        code: ProblemCode,
        /// What happened.
        detail: String,
    },
    /// A field that a person gave breaks a rule; pages put the words beside it.
    #[error("{name}: {why}")]
    Field {
        /// The field, as the interface names it.
        name: &'static str,
        /// What is wrong with it.
        why: String,
    },
    /// Too many tries.
    #[error("too many tries; {retry_after_seconds} s to wait")]
    TooMany {
        /// Seconds until the next one is counted.
        retry_after_seconds: u64,
    },
    /// The address is known, the method isn't.
    #[error("method not allowed; {allowed} would be")]
    MethodNotAllowed {
        /// The methods that are.
        allowed: String,
    },
    /// The database is out of reach, busy or full. Only the log hears why.
    #[error("the database is out of reach: {log}")]
    Unavailable {
        /// For the log.
        log: String,
    },
    /// Something is wrong on our side. Only the log hears what.
    #[error("broken: {log}")]
    Broken {
        /// For the log.
        log: String,
    },
}

impl ServerError {
    /// A refusal with a code and what happened.
    pub fn refused(code: ProblemCode, detail: impl Into<String>) -> Self {
        Self::Refused { code, detail: detail.into() }
    }

    /// Nothing there, or not the caller's to see: the two look the same.
    pub fn not_found() -> Self {
        Self::refused(ProblemCode::NotFound, "There is nothing here by that name for you.")
    }

    /// A sign-in is needed.
    pub fn sign_in_needed() -> Self {
        Self::refused(ProblemCode::SignInNeeded, "This needs a sign-in that still holds.")
    }

    /// Something on our side, told to the log alone.
    pub fn broken(log: impl Into<String>) -> Self {
        Self::Broken { log: log.into() }
    }

    /// A refusal as it is kept, to be told again.
    pub fn to_be_told_again(&self) -> String {
        serde_json::to_string(&self.problem()).unwrap_or_default()
    }

    /// A refusal that was told before and kept.
    pub fn told_before(kept: &str) -> Self {
        match serde_json::from_str::<Problem>(kept) {
            Ok(problem) => Self::refused(problem.code, problem.detail),
            Err(error) => Self::broken(format!("a kept refusal: {error}")),
        }
    }

    /// The stable code.
    pub const fn code(&self) -> ProblemCode {
        match self {
            Self::Refused { code, .. } => *code,
            Self::Field { .. } => ProblemCode::Refused,
            Self::TooMany { .. } => ProblemCode::TooMany,
            Self::MethodNotAllowed { .. } => ProblemCode::MethodNotAllowed,
            Self::Unavailable { .. } => ProblemCode::Unavailable,
            Self::Broken { .. } => ProblemCode::Broken,
        }
    }

    /// What people are told of it.
    pub fn problem(&self) -> Problem {
        let detail = match self {
            Self::Refused { detail, .. } => detail.clone(),
            Self::Field { name, why } => format!("{name}: {why}."),
            Self::TooMany { retry_after_seconds } => {
                format!("Too many tries. Wait {retry_after_seconds} seconds, then try again.")
            }
            Self::MethodNotAllowed { allowed } => format!("Only {allowed} can be used here."),
            Self::Unavailable { .. } => {
                "The server's database is out of reach or busy. Nothing was changed.".to_owned()
            }
            Self::Broken { .. } => {
                "The server could not finish this. Nothing was changed.".to_owned()
            }
        };
        Problem::new(self.code(), detail)
    }

    /// Writes to the log what only an operator should see.
    pub fn log(&self) {
        match self {
            Self::Unavailable { log } => tracing::warn!(%log, "database out of reach"),
            Self::Broken { log } => tracing::error!(%log, "broken"),
            _ => {}
        }
    }
}

impl From<StoreError> for ServerError {
    fn from(error: StoreError) -> Self {
        let log = error.log_text().unwrap_or_default().to_owned();
        match error {
            StoreError::Outage(_) => Self::Unavailable { log: format!("{error}: {log}") },
            StoreError::Conflict(conflict) => {
                Self::refused(conflict_code(&conflict), sentence(&conflict))
            }
            StoreError::Missing(missing) => {
                Self::refused(ProblemCode::NotFound, sentence(&missing))
            }
            StoreError::Refused(refused) => {
                Self::refused(refusal_code(&refused), sentence(&refused))
            }
            StoreError::Corrupt { .. }
            | StoreError::NotForThisDatabase { .. }
            | StoreError::NotOurs
            | StoreError::Newer { .. }
            | StoreError::RestoreCutOff
            | StoreError::Broken { .. } => Self::broken(format!("{error}: {log}")),
        }
    }
}

const fn conflict_code(conflict: &Conflict) -> ProblemCode {
    match conflict {
        Conflict::KeyReused => ProblemCode::KeyReused,
        Conflict::StillWorking => ProblemCode::StillWorking,
        Conflict::AlreadyTaken(_) => ProblemCode::AlreadyTaken,
        Conflict::CodeUsedUp(_) | Conflict::AlreadySetUp => ProblemCode::CodeUsedUp,
        Conflict::HasNetwork | Conflict::ActedMeanwhile => ProblemCode::NotInThatState,
        Conflict::NotEnoughFree { .. } => ProblemCode::NotEnoughFree,
        Conflict::RoundUnderWay => ProblemCode::RoundUnderWay,
    }
}

const fn refusal_code(refused: &Refused) -> ProblemCode {
    match refused {
        Refused::NotACoordinator | Refused::OnlyBy(_) => ProblemCode::NotAllowed,
        Refused::State(_) | Refused::Channel(_) => ProblemCode::NotInThatState,
        Refused::Limit(_) => ProblemCode::BeyondLimit,
        _ => ProblemCode::Refused,
    }
}

/// A reason as a sentence: capital letter, full stop.
pub fn sentence(reason: &impl ToString) -> String {
    let text = reason.to_string();
    let mut letters = text.chars();
    let first: String = letters.next().into_iter().flat_map(char::to_uppercase).collect();
    let end = if text.ends_with(['.', '!', '?']) { "" } else { "." };
    format!("{first}{}{end}", letters.as_str())
}

impl ResponseError for ServerError {
    fn status_code(&self) -> StatusCode {
        StatusCode::from_u16(self.code().status()).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR)
    }

    fn error_response(&self) -> HttpResponse {
        self.log();
        let mut response = HttpResponse::build(self.status_code());
        response.insert_header((CONTENT_TYPE, "application/problem+json"));
        self.add_headers(|name, value| {
            response.insert_header((name, value));
        });
        response.body(serde_json::to_string(&self.problem()).unwrap_or_default())
    }
}

impl ServerError {
    /// The headers that a code asks for.
    pub fn add_headers(
        &self,
        mut add: impl FnMut(actix_web::http::header::HeaderName, HeaderValue),
    ) {
        match self {
            Self::TooMany { retry_after_seconds } => {
                add(RETRY_AFTER, HeaderValue::from(*retry_after_seconds));
            }
            Self::Unavailable { .. } => add(RETRY_AFTER, HeaderValue::from(10)),
            Self::MethodNotAllowed { allowed } => {
                if let Ok(value) = HeaderValue::from_str(allowed) {
                    add(ALLOW, value);
                }
            }
            _ if self.status_code() == StatusCode::UNAUTHORIZED => {
                add(WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
            }
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_for_the_log_is_not_told_to_the_caller() {
        let error = ServerError::broken("password=hush at /var/lib/spareloop");
        let told = serde_json::to_string(&error.problem()).unwrap_or_default();
        assert!(!told.contains("hush") && !told.contains("/var"), "{told}");
        assert!(told.contains("hint"));
    }

    #[test]
    fn every_code_has_a_hint_and_a_status_that_http_knows() {
        for code in ProblemCode::ALL {
            assert!(!code.hint().is_empty(), "{code:?}");
            assert!(StatusCode::from_u16(code.status()).is_ok(), "{code:?}");
        }
    }
}
