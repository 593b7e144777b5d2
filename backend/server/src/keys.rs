//! The server's secret and what is derived from it.
//!
//! One secret, one key a purpose (HMAC-SHA-256 over the purpose's name), so that a token of one
//! kind never passes for another. Codes and device tokens are derived from a random number that
//! is kept instead of them: a repeated request gets the same answer, and nothing at rest opens a
//! door. What may not enter: who may do what.

use std::io::Write;
use std::path::{Path, PathBuf};

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use hmac::{Hmac, KeyInit, Mac};
use sha2::{Digest, Sha256};
use subtle::ConstantTimeEq;
use uuid::Uuid;

use crate::config::{self, ConfigError, SecretSource};

/// Fewest characters of a secret that somebody chose.
const SHORTEST_SECRET: usize = 32;

/// What a derived secret is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purpose {
    /// Signs access tokens.
    Access,
    /// Signs refresh tokens.
    Refresh,
    /// Invitation codes.
    Invitation,
    /// Device tokens.
    Device,
    /// Tokens of the pages' forms.
    Form,
    /// Fingerprints of requests, for the idempotency record.
    Fingerprint,
    /// Addresses of feeds and calendars.
    Fetching,
    /// Secrets that webhooks' calls are signed with.
    Webhook,
    /// Links by which an address of e-mail is confirmed.
    ConfirmLetters,
    /// Links by which letters are ended.
    EndLetters,
}

impl Purpose {
    const fn name(self) -> &'static [u8] {
        match self {
            Self::Access => b"spareloop access token",
            Self::Refresh => b"spareloop refresh token",
            Self::Invitation => b"spareloop invitation code",
            Self::Device => b"spareloop device token",
            Self::Form => b"spareloop form token",
            Self::Fingerprint => b"spareloop request fingerprint",
            Self::Fetching => b"spareloop feed address",
            Self::Webhook => b"spareloop webhook secret",
            Self::ConfirmLetters => b"spareloop letters confirm link",
            Self::EndLetters => b"spareloop letters end link",
        }
    }
}

/// Why there is no secret to sign with.
#[derive(Debug, thiserror::Error)]
pub enum KeyError {
    /// The file that was named can't be read.
    #[error(transparent)]
    Config(#[from] ConfigError),
    /// Too short to be one.
    #[error("the server's secret has fewer than {SHORTEST_SECRET} characters")]
    TooShort,
    /// The file can't be made.
    #[error("the secret can't be kept in {path}: {reason}")]
    CantKeep {
        /// Which file.
        path: PathBuf,
        /// Why.
        reason: std::io::Error,
    },
    /// The machine gives no random numbers.
    #[error("this machine gives no random numbers")]
    NoRandomness,
}

/// The server's secret. Never printed.
#[derive(Clone)]
pub struct Keys([u8; 32]);

impl std::fmt::Debug for Keys {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Keys(…)")
    }
}

impl Keys {
    /// Reads the secret, or makes and keeps one on first start.
    pub fn load(source: &SecretSource) -> Result<Self, KeyError> {
        match source {
            SecretSource::Text(text) => Self::from_text(text),
            SecretSource::File(path) => Self::from_text(&config::read_trimmed(path)?),
            SecretSource::Kept(path) => {
                make_once(path)?;
                Self::from_text(&config::read_trimmed(path)?)
            }
        }
    }

    /// Takes a secret as somebody wrote it down.
    pub fn from_text(text: &str) -> Result<Self, KeyError> {
        if text.trim().len() < SHORTEST_SECRET {
            return Err(KeyError::TooShort);
        }
        Ok(Self(Sha256::digest(text.trim().as_bytes()).into()))
    }

    /// The key for one purpose.
    pub fn key(&self, purpose: Purpose) -> [u8; 32] {
        mac(&self.0, &[purpose.name()])
    }

    /// A secret for one purpose that only `number` and the server's secret give.
    pub fn derive(&self, purpose: Purpose, number: Uuid) -> [u8; 32] {
        mac(&self.key(purpose), &[number.as_bytes()])
    }

    /// The token that the forms of one cookie carry: nobody who can't read the cookie knows it.
    pub fn form_token(&self, cookie: &str) -> String {
        URL_SAFE_NO_PAD.encode(mac(&self.key(Purpose::Form), &[cookie.as_bytes()]))
    }

    /// What two requests share only if they are the same: who asks, how, for what, with what body.
    pub fn fingerprint(&self, parts: &[&[u8]]) -> [u8; 32] {
        mac(&self.key(Purpose::Fingerprint), parts)
    }
}

/// HMAC-SHA-256 over the parts, each with its length before it.
fn mac(key: &[u8; 32], parts: &[&[u8]]) -> [u8; 32] {
    // HMAC itself fills a key up to the hash's block of 64 bytes with zeros.
    let mut block = [0; 64];
    block[..32].copy_from_slice(key);
    let mut mac = Hmac::<Sha256>::new(&block.into());
    for part in parts {
        mac.update(&(part.len() as u64).to_be_bytes());
        mac.update(part);
    }
    mac.finalize().into_bytes().into()
}

fn make_once(path: &Path) -> Result<(), KeyError> {
    use std::os::unix::fs::OpenOptionsExt;
    let cant = |reason| KeyError::CantKeep { path: path.to_owned(), reason };
    if path.exists() {
        return Ok(());
    }
    if let Some(folder) = path.parent() {
        std::fs::create_dir_all(folder).map_err(cant)?;
    }
    // Written aside and linked into place, so that two first starts agree on one secret.
    let aside = path.with_extension(format!("new-{}", std::process::id()));
    let mut file = std::fs::OpenOptions::new()
        .write(true)
        .create(true)
        .truncate(true)
        .mode(0o600)
        .open(&aside)
        .map_err(cant)?;
    let text = URL_SAFE_NO_PAD.encode(random_bytes()?);
    file.write_all(text.as_bytes()).and_then(|()| file.sync_all()).map_err(cant)?;
    let linked = std::fs::hard_link(&aside, path);
    std::fs::remove_file(&aside).map_err(cant)?;
    match linked {
        Err(error) if error.kind() != std::io::ErrorKind::AlreadyExists => Err(cant(error)),
        _ => Ok(()),
    }
}

/// 32 random bytes from the operating system.
pub fn random_bytes() -> Result<[u8; 32], KeyError> {
    let mut bytes = [0; 32];
    getrandom::fill(&mut bytes).map_err(|_| KeyError::NoRandomness)?;
    Ok(bytes)
}

/// A random secret as text: 43 characters of base64url.
pub fn random_text() -> Result<String, KeyError> {
    Ok(URL_SAFE_NO_PAD.encode(random_bytes()?))
}

/// Compares two secrets in a time that tells nothing of where they differ.
pub fn same_secret(left: &[u8], right: &[u8]) -> bool {
    left.ct_eq(right).into()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use std::os::unix::fs::PermissionsExt;

    use super::*;

    #[test]
    fn a_first_start_keeps_a_secret_that_only_its_owner_can_read() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("deep").join("server-secret");
        let source = SecretSource::Kept(path.clone());
        let first = Keys::load(&source).unwrap();
        let second = Keys::load(&source).unwrap();
        assert_eq!(first.key(Purpose::Access), second.key(Purpose::Access));
        assert_eq!(path.metadata().unwrap().permissions().mode() & 0o777, 0o600);
    }

    #[test]
    fn each_purpose_has_its_own_key() {
        let keys = Keys::from_text(&"s".repeat(40)).unwrap();
        assert_ne!(keys.key(Purpose::Access), keys.key(Purpose::Refresh));
        let number = Uuid::from_u128(7);
        assert_ne!(keys.derive(Purpose::Device, number), keys.derive(Purpose::Invitation, number));
    }

    #[test]
    fn moving_a_letter_from_one_part_to_the_next_changes_the_fingerprint() {
        let keys = Keys::from_text(&"s".repeat(40)).unwrap();
        assert_ne!(keys.fingerprint(&[b"ab", b"c"]), keys.fingerprint(&[b"a", b"bc"]));
    }

    #[test]
    fn a_short_secret_is_refused_and_never_shown() {
        assert!(matches!(Keys::from_text("short"), Err(KeyError::TooShort)));
        let keys = Keys::from_text(&"s".repeat(40)).unwrap();
        assert_eq!(format!("{keys:?}"), "Keys(…)");
    }
}
