//! One call: address, token, key, time-out, answer or problem.

use std::time::Duration;

use reqwest::Url;
use reqwest::blocking::{RequestBuilder, Response};
use reqwest::header::{CONTENT_TYPE, RETRY_AFTER};
use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::BASE;
use crate::people::Secret;
use crate::problem::{Problem, ProblemCode};

/// How long a connection may take to open.
const CONNECT: Duration = Duration::from_secs(5);
/// How long an answer may take as a whole.
const ANSWER: Duration = Duration::from_mins(1);

/// Why a call has no answer to give.
#[derive(Debug, thiserror::Error)]
pub enum CallError {
    /// The address is no address.
    #[error("{0:?} is not the address of a server; write it as https://network.example")]
    NotAnAddress(String),
    /// Nobody answered, in time or at all. Whether an act was done is unknown; sending it again with
    /// the same key is safe.
    #[error("the server did not answer: {0}")]
    OutOfReach(String),
    /// The server refused and said why.
    #[error("{}", problem.detail)]
    Refused {
        /// What the server said.
        problem: Box<Problem>,
        /// Seconds to wait before the next try, if it said so.
        retry_after: Option<u64>,
    },
    /// The answer can't be read: another kind of server, or a newer one.
    #[error("the server's answer can't be read ({status}): {why}")]
    Unreadable {
        /// The HTTP status.
        status: u16,
        /// What the reader said.
        why: String,
    },
}

impl CallError {
    /// The problem's code, if the server refused and said why.
    pub fn code(&self) -> Option<ProblemCode> {
        match self {
            Self::Refused { problem, .. } => Some(problem.code),
            _ => None,
        }
    }

    /// Whether the server is away, rather than of another opinion.
    pub fn is_out_of_reach(&self) -> bool {
        match self {
            Self::OutOfReach(_) => true,
            Self::Refused { problem, .. } => problem.status >= 500,
            Self::Unreadable { status, .. } => *status >= 500,
            Self::NotAnAddress(_) => false,
        }
    }
}

/// Made once per act, stored before it is sent, sent again unchanged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ActKey(pub String);

/// What opens a door: an access token, a device token, or nothing.
#[derive(Debug, Clone)]
pub enum Token {
    /// Nothing.
    Nobody,
    /// An access token or a device token.
    Bearer(Secret),
}

/// A client of one server.
#[derive(Debug, Clone)]
pub struct Client {
    http: reqwest::blocking::Client,
    base: Url,
    token: Token,
}

impl Client {
    /// A client of the server at `address`, as `https://network.example`.
    pub fn new(address: &str) -> Result<Self, CallError> {
        Self::with_patience(address, ANSWER)
    }

    /// A client that waits no longer than `answer` for an answer as a whole.
    pub fn with_patience(address: &str, answer: Duration) -> Result<Self, CallError> {
        let wrong = || CallError::NotAnAddress(address.to_owned());
        let base = Url::parse(address.trim_end_matches('/')).map_err(|_| wrong())?;
        if !matches!(base.scheme(), "http" | "https") || !base.has_host() {
            return Err(wrong());
        }
        let http = reqwest::blocking::Client::builder()
            .connect_timeout(CONNECT.min(answer))
            .timeout(answer)
            .redirect(reqwest::redirect::Policy::none())
            .user_agent(concat!("spareloop/", env!("CARGO_PKG_VERSION")))
            .build()
            .map_err(|error| CallError::OutOfReach(told(&error)))?;
        Ok(Self { http, base, token: Token::Nobody })
    }

    /// The same client with a token.
    #[must_use]
    pub fn with(&self, token: Token) -> Self {
        Self { token, ..self.clone() }
    }

    /// `GET`, with the query `pairs`.
    pub(super) fn get<T: DeserializeOwned>(
        &self,
        path: &str,
        pairs: &[(&str, String)],
    ) -> Result<T, CallError> {
        read(self.send(self.http.get(self.url(path)?).query(pairs))?)
    }

    /// `POST` of an act that is done once, whatever happens on the way.
    pub(super) fn act<B: Serialize, T: DeserializeOwned>(
        &self,
        path: &str,
        key: &ActKey,
        body: &B,
    ) -> Result<T, CallError> {
        let request = self.http.post(self.url(path)?).header("Idempotency-Key", &key.0).json(body);
        read(self.send(request)?)
    }

    /// Sends an act as it was stored, to an address below `/api/v1`.
    pub fn act_as_stored(
        &self,
        path: &str,
        key: &ActKey,
        body: &serde_json::Value,
    ) -> Result<serde_json::Value, CallError> {
        self.act(path, key, body)
    }

    /// `POST` of something that may be repeated freely, or that must not be (a sign-in).
    pub(super) fn post<B: Serialize, T: DeserializeOwned>(
        &self,
        path: &str,
        body: &B,
    ) -> Result<T, CallError> {
        read(self.send(self.http.post(self.url(path)?).json(body))?)
    }

    /// `POST` that answers with nothing.
    pub(super) fn post_silent<B: Serialize>(&self, path: &str, body: &B) -> Result<(), CallError> {
        self.send(self.http.post(self.url(path)?).json(body)).map(drop)
    }

    /// `GET` of a file.
    pub(super) fn get_bytes(&self, path: &str) -> Result<Vec<u8>, CallError> {
        let response = self.send(self.http.get(self.url(path)?))?;
        let bytes = response.bytes().map_err(|error| CallError::OutOfReach(told(&error)))?;
        Ok(bytes.to_vec())
    }

    /// `POST` of a file as an act that is done once.
    pub(super) fn act_of_bytes<T: DeserializeOwned>(
        &self,
        path: &str,
        key: &ActKey,
        file: Vec<u8>,
    ) -> Result<T, CallError> {
        let request = self
            .http
            .post(self.url(path)?)
            .header("Idempotency-Key", &key.0)
            .header(CONTENT_TYPE, "application/octet-stream")
            .body(file);
        read(self.send(request)?)
    }

    /// `POST` of an act that is done once and answers with nothing.
    pub(super) fn act_silent<B: Serialize>(
        &self,
        path: &str,
        key: &ActKey,
        body: &B,
    ) -> Result<(), CallError> {
        let request = self.http.post(self.url(path)?).header("Idempotency-Key", &key.0).json(body);
        self.send(request).map(drop)
    }

    fn url(&self, path: &str) -> Result<Url, CallError> {
        let address = format!("{}{BASE}{path}", self.base.as_str().trim_end_matches('/'));
        Url::parse(&address).map_err(|_| CallError::NotAnAddress(address))
    }

    fn send(&self, request: RequestBuilder) -> Result<Response, CallError> {
        let request = match &self.token {
            Token::Nobody => request,
            Token::Bearer(secret) => request.bearer_auth(&secret.0),
        };
        let response = request.send().map_err(|error| CallError::OutOfReach(told(&error)))?;
        if response.status().is_success() { Ok(response) } else { Err(refusal(response)) }
    }
}

fn read<T: DeserializeOwned>(response: Response) -> Result<T, CallError> {
    let status = response.status().as_u16();
    response.json().map_err(|error| {
        if error.is_decode() && !error.is_timeout() {
            CallError::Unreadable { status, why: told(&error) }
        } else {
            CallError::OutOfReach(told(&error))
        }
    })
}

fn refusal(response: Response) -> CallError {
    let status = response.status().as_u16();
    let retry_after = response
        .headers()
        .get(RETRY_AFTER)
        .and_then(|value| value.to_str().ok())
        .and_then(|text| text.parse().ok());
    match response.json::<Problem>() {
        Ok(problem) => CallError::Refused { problem: Box::new(problem), retry_after },
        Err(error) => CallError::Unreadable { status, why: told(&error) },
    }
}

/// The innermost cause says most: "connection refused" rather than "error sending request".
fn told(error: &reqwest::Error) -> String {
    if error.is_timeout() {
        return "it took too long".to_owned();
    }
    let mut cause: &dyn std::error::Error = error;
    while let Some(inner) = cause.source() {
        cause = inner;
    }
    cause.to_string()
}
