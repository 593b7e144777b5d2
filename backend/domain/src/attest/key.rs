//! Keys: the half that stays on the farm's device, the half that everybody may have.
//!
//! A farm makes a key known by a text that the new key signs itself (so nobody can claim another's)
//! and, where it had a key before, that the earlier one signs too (so that no server can slip a key
//! of its own in unseen). What may not enter: where a key is kept.

use std::fmt;
use std::str::FromStr;

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use ed25519_dalek::VerifyingKey;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::jws::{self, Compact, JwsError, StatedType};
use super::second::Second;
use crate::words::FarmId;

/// Why a text is no key, or a key is not a farm's.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum KeyError {
    /// Not 32 bytes in base64url, or no point of the curve.
    #[error("it is not an Ed25519 public key")]
    NotAKey,
    /// A point of small order, for which signatures can be made without a secret.
    #[error("it is a weak key, which anybody can sign for")]
    Weak,
    /// Not 43 characters of base64url.
    #[error("{0:?} is not the id of a key")]
    NotAnId(String),
    /// The text that makes it known is none.
    #[error("the text that makes this key known can't be used: {0}")]
    Introduction(JwsError),
    /// The text makes another key known, or another farm's, or of another day.
    #[error("the text that makes this key known speaks of another key or farm")]
    OfAnother,
    /// The earlier key that vouches for it is not one of the farm's, or was withdrawn before.
    #[error(
        "the key that vouches for this one is not known as the farm's, or was withdrawn before"
    )]
    Voucher,
}

/// An Ed25519 public key, written as base64url (the `x` of RFC 8037).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct PublicKey(VerifyingKey);

impl PublicKey {
    pub(super) const fn inner(&self) -> &VerifyingKey {
        &self.0
    }

    /// Its id: the JWK thumbprint (RFC 7638 with RFC 8037), SHA-256 over the key's canonical JWK.
    ///
    /// ```
    /// // RFC 8037, appendix A.3.
    /// let key: spareloop_domain::attest::PublicKey =
    ///     "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo".parse()?;
    /// assert_eq!(key.id().as_str(), "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k");
    /// # Ok::<(), spareloop_domain::attest::KeyError>(())
    /// ```
    pub fn id(&self) -> KeyId {
        let jwk = format!(r#"{{"crv":"Ed25519","kty":"OKP","x":"{self}"}}"#);
        KeyId(URL_SAFE_NO_PAD.encode(Sha256::digest(jwk)))
    }
}

impl fmt::Display for PublicKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&URL_SAFE_NO_PAD.encode(self.0.as_bytes()))
    }
}

impl FromStr for PublicKey {
    type Err = KeyError;
    fn from_str(text: &str) -> Result<Self, KeyError> {
        let bytes = URL_SAFE_NO_PAD.decode(text).map_err(|_| KeyError::NotAKey)?;
        let bytes = bytes.try_into().map_err(|_| KeyError::NotAKey)?;
        let key = VerifyingKey::from_bytes(&bytes).map_err(|_| KeyError::NotAKey)?;
        // A second spelling of one point would give one key two ids.
        if key.to_edwards().compress().as_bytes() != &bytes {
            return Err(KeyError::NotAKey);
        }
        if key.is_weak() { Err(KeyError::Weak) } else { Ok(Self(key)) }
    }
}

impl TryFrom<String> for PublicKey {
    type Error = KeyError;
    fn try_from(text: String) -> Result<Self, KeyError> {
        text.parse()
    }
}

impl From<PublicKey> for String {
    fn from(key: PublicKey) -> Self {
        key.to_string()
    }
}

/// A key's id: 43 characters that follow from the key.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct KeyId(String);

impl KeyId {
    /// The whole id.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// Its first 16 characters in fours, to be compared by eye or read over the telephone.
    pub fn short(&self) -> String {
        let letters: Vec<char> = self.0.chars().take(16).collect();
        let fours: Vec<String> = letters.chunks(4).map(|four| four.iter().collect()).collect();
        fours.join(" ")
    }
}

impl fmt::Display for KeyId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl FromStr for KeyId {
    type Err = KeyError;
    fn from_str(text: &str) -> Result<Self, KeyError> {
        match URL_SAFE_NO_PAD.decode(text) {
            Ok(bytes) if bytes.len() == 32 => Ok(Self(text.to_owned())),
            Ok(_) | Err(_) => Err(KeyError::NotAnId(text.to_owned())),
        }
    }
}

impl TryFrom<String> for KeyId {
    type Error = KeyError;
    fn try_from(text: String) -> Result<Self, KeyError> {
        text.parse()
    }
}

impl From<KeyId> for String {
    fn from(id: KeyId) -> Self {
        id.0
    }
}

/// The half that stays on the device. Overwritten in memory once it is dropped.
pub struct SigningKey(ed25519_dalek::SigningKey);

impl SigningKey {
    /// The key of 32 random bytes.
    pub fn from_bytes(secret: [u8; 32]) -> Self {
        Self(ed25519_dalek::SigningKey::from_bytes(&secret))
    }

    /// Reads what [`SigningKey::secret`] gave: 32 bytes in base64url (the `d` of RFC 8037).
    pub fn from_secret(text: &str) -> Result<Self, KeyError> {
        let bytes = URL_SAFE_NO_PAD.decode(text).map_err(|_| KeyError::NotAKey)?;
        bytes.try_into().map(Self::from_bytes).map_err(|_| KeyError::NotAKey)
    }

    /// The secret half, for the file that keeps it.
    pub fn secret(&self) -> String {
        URL_SAFE_NO_PAD.encode(self.0.as_bytes())
    }

    /// The half that everybody may have.
    pub fn public(&self) -> PublicKey {
        PublicKey(self.0.verifying_key())
    }

    pub(super) const fn inner(&self) -> &ed25519_dalek::SigningKey {
        &self.0
    }

    /// The text by which `signer` (this key itself, or an earlier one of the farm) makes `key` known.
    pub fn introduce(&self, key: &PublicKey, farm: FarmId, made_at: Second) -> String {
        let words = Introduction { v: 1, farm, key: *key, made_at };
        // Ids, a key and a whole number always have a canonical form.
        let payload = serde_json_canonicalizer::to_vec(&words).unwrap_or_default();
        jws::sign(StatedType::Key, &payload, self)
    }
}

impl fmt::Debug for SigningKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "SigningKey({})", self.public().id())
    }
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Introduction {
    v: u64,
    farm: FarmId,
    key: PublicKey,
    made_at: Second,
}

/// A farm's key as everybody may have it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct KeyRecord {
    /// The key.
    pub key: PublicKey,
    /// Whose.
    pub farm: FarmId,
    /// When it was made, by the farm's clock.
    pub made_at: Second,
    /// Signed by the key itself: whoever made it known has its secret half.
    pub introduction: String,
    /// The same, signed by an earlier key of the farm, where there was one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub vouched: Option<String>,
    /// When the network's server heard of it, if it did.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub known_at: Option<Second>,
    /// When it was withdrawn: what it signed before still holds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub withdrawn_at: Option<Second>,
}

/// Whose word it is that a key is a farm's.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum IntroducedBy {
    /// Its own and the server's: compare its id with the farm.
    Itself,
    /// An earlier key's of the same farm.
    Earlier(KeyId),
}

impl KeyRecord {
    /// Its id.
    pub fn id(&self) -> KeyId {
        self.key.id()
    }

    /// Holds the texts that make it known against the farm's other keys.
    pub fn check(&self, known: &[Self]) -> Result<IntroducedBy, KeyError> {
        self.holds(&self.introduction, &self.key)?;
        let Some(vouched) = &self.vouched else { return Ok(IntroducedBy::Itself) };
        let named = Compact::read(vouched).map_err(KeyError::Introduction)?.key().cloned();
        let voucher = known
            .iter()
            .find(|record| record.farm == self.farm && Some(record.id()) == named)
            .filter(|record| record.key != self.key)
            .filter(|record| record.withdrawn_at.is_none_or(|at| self.was_known_before(at)))
            .ok_or(KeyError::Voucher)?;
        self.holds(vouched, &voucher.key)?;
        Ok(IntroducedBy::Earlier(voucher.id()))
    }

    /// Both by the server's clock where it has heard of the key; a farm's clock may be wrong.
    fn was_known_before(&self, withdrawn_at: Second) -> bool {
        self.known_at.map_or(self.made_at < withdrawn_at, |known| known <= withdrawn_at)
    }

    fn holds(&self, text: &str, signer: &PublicKey) -> Result<(), KeyError> {
        let read = Compact::read(text).map_err(KeyError::Introduction)?;
        let payload = read.verified(signer).map_err(KeyError::Introduction)?;
        let words: Introduction =
            serde_json::from_slice(payload).map_err(|_| KeyError::OfAnother)?;
        let expected = Introduction { v: 1, farm: self.farm, key: self.key, made_at: self.made_at };
        if read.stated_type() == Some(StatedType::Key) && words == expected {
            Ok(())
        } else {
            Err(KeyError::OfAnother)
        }
    }
}
