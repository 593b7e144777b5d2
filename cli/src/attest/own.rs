//! The secret halves of keys: made here, never sent, in a file of their own with mode 0600.

use std::fs;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use spareloop_api::people::Secret;
use spareloop_domain::attest::{KeyRecord, Second, SigningKey};
use spareloop_domain::words::FarmId;

use crate::book::keys::write_private;
use crate::fault::Fault;
use crate::fresh;

/// A key that was made on this device.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct OwnKey {
    /// The half that everybody may have, and what makes it known.
    pub record: KeyRecord,
    /// The half that stays here; gone once the key is withdrawn.
    pub secret: Option<Secret>,
}

/// The keys that were made on this device, oldest first. The last one that is not withdrawn signs.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct OwnKeys {
    /// The keys.
    pub keys: Vec<OwnKey>,
}

/// The file beside a book.
pub fn path_beside(book: &Path) -> PathBuf {
    let mut name = book.file_name().map(std::ffi::OsStr::to_owned).unwrap_or_default();
    name.push(".signing");
    book.with_file_name(name)
}

/// Reads the keys; none if there is no file.
pub fn read(book: &Path) -> Result<OwnKeys, Fault> {
    let path = path_beside(book);
    let odd = |why: String| {
        Fault::failed(
            format!("The signing keys in {} can't be read: {why}.", path.display()),
            "Put a copy of that file back, or move it away and make a new key: spareloop attest key new",
        )
        .keeping("The stock book is untouched.")
    };
    match fs::read_to_string(&path) {
        Ok(text) => serde_json::from_str(&text).map_err(|error| odd(error.to_string())),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(OwnKeys::default()),
        Err(error) => Err(odd(error.to_string())),
    }
}

/// Writes the keys: whole or not at all, for the owner's eyes only.
pub fn write(book: &Path, keys: &OwnKeys) -> Result<(), Fault> {
    let path = path_beside(book);
    write_private(&path, keys).map_err(|error| {
        Fault::failed(
            format!("The signing keys can't be kept in {}: {error}.", path.display()),
            "Make room and check who may write there, then try again.",
        )
        .keeping("Nothing was signed, and the keys that were there are untouched.")
    })
}

impl OwnKeys {
    /// The key that signs, and its secret half.
    pub fn current(&self) -> Result<Option<(&OwnKey, SigningKey)>, Fault> {
        let unwithdrawn = |own: &&OwnKey| own.record.withdrawn_at.is_none();
        let Some(own) = self.keys.iter().rev().find(unwithdrawn) else { return Ok(None) };
        let text = own.secret.as_ref().map_or("", |secret| secret.0.as_str());
        match SigningKey::from_secret(text) {
            Ok(key) if key.public() == own.record.key => Ok(Some((own, key))),
            Ok(_) | Err(_) => Err(Fault::failed(
                format!("The secret half of the key {} is damaged.", own.record.id().short()),
                "Withdraw it and make another: spareloop attest key withdraw KEY",
            )),
        }
    }

    /// Makes a key that the current one vouches for, if there is one.
    pub fn make(&mut self, farm: FarmId) -> Result<&KeyRecord, Fault> {
        let key = SigningKey::from_bytes(fresh::random()?);
        let (public, made_at) = (key.public(), Second::of_millis(fresh::wall_millis()));
        let vouched = self.current()?.map(|(_, earlier)| earlier.introduce(&public, farm, made_at));
        let record = KeyRecord {
            key: public,
            farm,
            made_at,
            introduction: key.introduce(&public, farm, made_at),
            vouched,
            known_at: None,
            withdrawn_at: None,
        };
        self.keys.push(OwnKey { record, secret: Some(Secret(key.secret())) });
        // One was just put there.
        Ok(&self.keys[self.keys.len() - 1].record)
    }
}
