//! Hashes of secrets: what the store keeps of tokens and codes.

use std::fmt;

use sha2::{Digest, Sha256};

use crate::StoreError;

/// SHA-256 of a token or code. Enough for secrets of 128 random bits or more; passwords are hashed
/// by the server with argon2id instead.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct SecretHash([u8; 32]);

impl SecretHash {
    /// The hash of a secret.
    pub fn of(secret: &str) -> Self {
        Self(Sha256::digest(secret.as_bytes()).into())
    }

    /// The bytes, for a comparison in constant time.
    pub const fn bytes(&self) -> &[u8; 32] {
        &self.0
    }

    pub(crate) fn read(text: &str) -> Result<Self, StoreError> {
        let wrong = || StoreError::corrupt("a hash is not 64 hexadecimal digits");
        if text.len() != 64 {
            return Err(wrong());
        }
        let mut bytes = [0; 32];
        for (byte, pair) in bytes.iter_mut().zip(text.as_bytes().chunks(2)) {
            let digits = std::str::from_utf8(pair).map_err(|_| wrong())?;
            *byte = u8::from_str_radix(digits, 16).map_err(|_| wrong())?;
        }
        Ok(Self(bytes))
    }
}

impl From<[u8; 32]> for SecretHash {
    fn from(bytes: [u8; 32]) -> Self {
        Self(bytes)
    }
}

impl fmt::Display for SecretHash {
    /// 64 hexadecimal digits.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}
