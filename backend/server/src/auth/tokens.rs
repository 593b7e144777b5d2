//! Tokens: what each kind carries, how long it works, how it is checked.
//!
//! | kind | form | works | kept as |
//! |---|---|---|---|
//! | access | JWT HS256: person, family | 15 minutes | not kept |
//! | refresh | JWT HS256: family, number | 30 days, once | the family's current number |
//! | device | `dev_` and 32 bytes base64url | until shut out | SHA-256 |
//! | set-up, session cookie | 32 random bytes base64url | once; 12 hours | SHA-256 |
//! | invitation | 20 letters in groups of five | once, 14 days | SHA-256 |
//!
//! What may not enter: the database. Whether a family lives on is the store's to say.

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, Utc};
use jsonwebtoken::{Algorithm, DecodingKey, EncodingKey, Header, Validation};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use spareloop_domain::words::PersonId;
use uuid::Uuid;

use crate::error::ServerError;
use crate::keys::{Keys, Purpose};

/// How long an access token works, in seconds.
pub const ACCESS_SECONDS: i64 = 15 * 60;
/// What a device token begins with.
pub const DEVICE_PREFIX: &str = "dev_";
/// Letters of an invitation code: read aloud and typed without confusion.
const CODE_LETTERS: &[u8; 32] = b"ABCDEFGHJKMNPQRSTUVWXYZ234567890";
const CODE_LENGTH: usize = 20;

/// What an access token carries.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct AccessClaims {
    /// Who.
    pub sub: PersonId,
    /// The sign-in it came from.
    pub fam: Uuid,
    /// When it stops working, in seconds since 1970.
    pub exp: i64,
}

/// What a refresh token carries.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RefreshClaims {
    /// The sign-in.
    pub fam: Uuid,
    /// Which of its tokens: each works once.
    pub num: i64,
    /// When it stops working, in seconds since 1970.
    pub exp: i64,
}

/// Makes and reads signed tokens.
#[derive(Clone)]
pub struct Signer {
    access: (EncodingKey, DecodingKey),
    refresh: (EncodingKey, DecodingKey),
}

impl std::fmt::Debug for Signer {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Signer(…)")
    }
}

impl Signer {
    /// Signs with keys derived from the server's secret.
    pub fn new(keys: &Keys) -> Self {
        let pair = |purpose| {
            let key = keys.key(purpose);
            (EncodingKey::from_secret(&key), DecodingKey::from_secret(&key))
        };
        Self { access: pair(Purpose::Access), refresh: pair(Purpose::Refresh) }
    }

    /// An access token for a person, from now on.
    pub fn access(
        &self,
        person: PersonId,
        family: Uuid,
        now: DateTime<Utc>,
    ) -> Result<String, ServerError> {
        let exp = now.timestamp() + ACCESS_SECONDS;
        sign(&AccessClaims { sub: person, fam: family, exp }, &self.access.0)
    }

    /// A refresh token.
    pub fn refresh(&self, claims: &RefreshClaims) -> Result<String, ServerError> {
        sign(claims, &self.refresh.0)
    }

    /// Reads an access token; `None` when it isn't ours or no longer works.
    pub fn read_access(&self, token: &str, now: DateTime<Utc>) -> Option<AccessClaims> {
        read::<AccessClaims>(token, &self.access.1).filter(|claims| claims.exp > now.timestamp())
    }

    /// Reads a refresh token; `None` when it isn't ours or no longer works.
    pub fn read_refresh(&self, token: &str, now: DateTime<Utc>) -> Option<RefreshClaims> {
        read::<RefreshClaims>(token, &self.refresh.1).filter(|claims| claims.exp > now.timestamp())
    }
}

fn sign(claims: &impl Serialize, key: &EncodingKey) -> Result<String, ServerError> {
    jsonwebtoken::encode(&Header::new(Algorithm::HS256), claims, key)
        .map_err(|error| ServerError::broken(format!("signing a token: {error}")))
}

fn read<T: DeserializeOwned>(token: &str, key: &DecodingKey) -> Option<T> {
    let mut validation = Validation::new(Algorithm::HS256);
    // Checked by the callers against the server's own clock, which tests can move.
    validation.validate_exp = false;
    jsonwebtoken::decode(token, key, &validation).ok().map(|data| data.claims)
}

/// The device token of a registration: 32 bytes that only its number and the secret give.
pub fn device_token(keys: &Keys, registration: Uuid) -> String {
    let bytes = keys.derive(Purpose::Device, registration);
    format!("{DEVICE_PREFIX}{}", URL_SAFE_NO_PAD.encode(bytes))
}

/// The code of an invitation, as `ABCDE-FGHJK-MNPQR-STUVW` (100 bits).
pub fn invitation_code(keys: &Keys, invitation: Uuid) -> String {
    let bytes = keys.derive(Purpose::Invitation, invitation);
    let letters: Vec<char> = bytes
        .iter()
        .take(CODE_LENGTH)
        .map(|byte| char::from(CODE_LETTERS[usize::from(byte % 32)]))
        .collect();
    letters.chunks(5).map(|group| group.iter().collect::<String>()).collect::<Vec<_>>().join("-")
}

/// A code as typed, brought to the form it was given in: case, spaces and hyphens don't matter.
pub fn plain_code(typed: &str) -> String {
    typed.chars().filter(char::is_ascii_alphanumeric).map(|c| c.to_ascii_uppercase()).collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;

    fn signer() -> Signer {
        Signer::new(&Keys::from_text(&"s".repeat(40)).unwrap())
    }
    fn noon() -> DateTime<Utc> {
        "2026-11-09T12:00:00Z".parse().unwrap()
    }

    #[test]
    fn an_access_token_works_for_fifteen_minutes() {
        let person = PersonId::new(Uuid::from_u128(1));
        let token = signer().access(person, Uuid::from_u128(2), noon()).unwrap();
        let later = |minutes| noon() + chrono::TimeDelta::minutes(minutes);
        assert_eq!(signer().read_access(&token, later(14)).unwrap().sub, person);
        assert_eq!(signer().read_access(&token, later(15)), None);
    }

    #[test]
    fn a_refresh_token_is_no_access_token_and_a_foreign_one_is_neither() {
        let claims = RefreshClaims { fam: Uuid::from_u128(2), num: 1, exp: i64::MAX };
        let token = signer().refresh(&claims).unwrap();
        assert_eq!(signer().read_refresh(&token, noon()), Some(claims));
        assert_eq!(signer().read_access(&token, noon()), None);
        let other = Signer::new(&Keys::from_text(&"t".repeat(40)).unwrap());
        assert_eq!(other.read_refresh(&token, noon()), None);
    }

    #[test]
    fn a_token_that_names_no_algorithm_is_refused() {
        let body = URL_SAFE_NO_PAD.encode(
            r#"{"sub":"00000000-0000-0000-0000-000000000001","fam":"00000000-0000-0000-0000-000000000002","exp":9999999999}"#,
        );
        let head = URL_SAFE_NO_PAD.encode(r#"{"alg":"none","typ":"JWT"}"#);
        assert_eq!(signer().read_access(&format!("{head}.{body}."), noon()), None);
    }

    #[test]
    fn an_invitation_code_is_read_however_it_was_typed() {
        let keys = Keys::from_text(&"s".repeat(40)).unwrap();
        let code = invitation_code(&keys, Uuid::from_u128(5));
        assert_eq!(code.len(), 23);
        assert_eq!(plain_code(&code.to_lowercase().replace('-', " ")), plain_code(&code));
    }
}
