//! The compact form: RFC 7515 with Ed25519 as RFC 8037 has it.
//!
//! Stricter than the standards ask: one alphabet without padding and without stray bits, a header
//! of known members only (so `crit` is refused, and `none` is no algorithm), and the strict check of
//! a signature (no S beyond the group's order, no key or R of small order), so that of one statement
//! there is one text. `EdDSA` and `Ed25519` (RFC 9864) are read, `EdDSA` is written, which more
//! programs read. What may not enter: what a payload means.

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use ed25519_dalek::{Signature, Signer as _};
use serde::{Deserialize, Serialize};

use super::key::{KeyId, PublicKey, SigningKey};

/// Why a text is no signed text, or not signed by a key.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum JwsError {
    /// Not three parts of base64url, or not in its one form.
    #[error("it is not a signed text: three parts of base64url are expected")]
    NotCompact,
    /// A header that can't be read, or with members that we don't know.
    #[error("its header can't be read: {0}")]
    Header(String),
    /// Signed by another key, or changed since.
    #[error(
        "its signature does not hold: it was changed after it was signed, or another key signed it"
    )]
    Signature,
}

/// What a signed text is, so that one never passes for another (RFC 8725, section 3.11).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum StatedType {
    /// A statement about a lot.
    #[serde(rename = "spareloop-statement")]
    Statement,
    /// A farm's word that a key is its own.
    #[serde(rename = "spareloop-key")]
    Key,
}

/// The algorithms that are read; both name the same computation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
enum Algorithm {
    /// RFC 8037's name.
    #[serde(rename = "EdDSA")]
    EdDsa,
    /// RFC 9864's name.
    #[serde(rename = "Ed25519")]
    Ed25519,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Header {
    alg: Algorithm,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    kid: Option<KeyId>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    typ: Option<StatedType>,
}

/// A signed text, read and not verified yet.
#[derive(Debug, Clone)]
pub struct Compact<'a> {
    header: Header,
    signed: &'a str,
    payload: Vec<u8>,
    signature: Signature,
}

impl<'a> Compact<'a> {
    /// Reads the three parts.
    ///
    /// ```
    /// use spareloop_domain::attest::{Compact, PublicKey};
    /// // RFC 8037, appendices A.1 and A.4.
    /// let key: PublicKey = "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo".parse().unwrap();
    /// let read = Compact::read(concat!(
    ///     "eyJhbGciOiJFZERTQSJ9.RXhhbXBsZSBvZiBFZDI1NTE5IHNpZ25pbmc.",
    ///     "hgyY0il_MGCjP0JzlnLWG1PPOt7-09PGcvMg3AIbQR6dWbhijcNR4ki4iylGjg5BhVsPt9g7sVvpAr_MuM0KAg",
    /// ))?;
    /// assert_eq!(read.verified(&key)?, b"Example of Ed25519 signing");
    /// # Ok::<(), spareloop_domain::attest::JwsError>(())
    /// ```
    pub fn read(text: &'a str) -> Result<Self, JwsError> {
        let (signed, signature) = text.rsplit_once('.').ok_or(JwsError::NotCompact)?;
        let (header, payload) = signed.split_once('.').ok_or(JwsError::NotCompact)?;
        let header = serde_json::from_slice(&bytes(header)?)
            .map_err(|error| JwsError::Header(error.to_string()))?;
        let signature =
            Signature::from_slice(&bytes(signature)?).map_err(|_| JwsError::NotCompact)?;
        Ok(Self { header, signed, payload: bytes(payload)?, signature })
    }

    /// The key that the header names.
    pub const fn key(&self) -> Option<&KeyId> {
        self.header.kid.as_ref()
    }

    /// What the header says it is.
    pub const fn stated_type(&self) -> Option<StatedType> {
        self.header.typ
    }

    /// The payload, if `key` signed it.
    pub fn verified(&self, key: &PublicKey) -> Result<&[u8], JwsError> {
        key.inner()
            .verify_strict(self.signed.as_bytes(), &self.signature)
            .map_err(|_| JwsError::Signature)?;
        Ok(&self.payload)
    }
}

/// Signs a payload; the header names the key.
pub(super) fn sign(what: StatedType, payload: &[u8], key: &SigningKey) -> String {
    let header = Header { alg: Algorithm::EdDsa, kid: Some(key.public().id()), typ: Some(what) };
    // Three short texts always have a canonical form.
    let header = serde_json_canonicalizer::to_vec(&header).unwrap_or_default();
    let signed = format!("{}.{}", URL_SAFE_NO_PAD.encode(header), URL_SAFE_NO_PAD.encode(payload));
    let signature = key.inner().sign(signed.as_bytes());
    format!("{signed}.{}", URL_SAFE_NO_PAD.encode(signature.to_bytes()))
}

fn bytes(part: &str) -> Result<Vec<u8>, JwsError> {
    URL_SAFE_NO_PAD.decode(part).map_err(|_| JwsError::NotCompact)
}
