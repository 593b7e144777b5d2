//! The secrets of this device, in a file of their own beside the book with mode 0600, so that a
//! copied book carries none.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use spareloop_api::people::Secret;
use spareloop_domain::words::DeviceId;

use super::names::sync_name;
use crate::fault::Fault;

/// What opens the server for this device and its person.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Keys {
    /// The device that the device token is of.
    pub device: Option<DeviceId>,
    /// Opens the ledger's sync.
    pub device_token: Option<Secret>,
    /// Opens everything else, for minutes.
    pub access_token: Option<Secret>,
    /// Works once, for the next pair.
    pub refresh_token: Option<Secret>,
}

/// The file beside a book.
pub fn path_beside(book: &Path) -> PathBuf {
    let mut name = book.file_name().map(std::ffi::OsStr::to_owned).unwrap_or_default();
    name.push(".keys");
    book.with_file_name(name)
}

/// Reads the keys; none if there is no file.
pub fn read(book: &Path) -> Result<Keys, Fault> {
    let path = path_beside(book);
    let odd = |why: String| {
        Fault::failed(
            format!("The sign-in kept in {} can't be read: {why}.", path.display()),
            "Move that file away and sign in again: spareloop farm connect",
        )
    };
    match fs::read_to_string(&path) {
        Ok(text) => serde_json::from_str(&text).map_err(|error| odd(error.to_string())),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(Keys::default()),
        Err(error) => Err(odd(error.to_string())),
    }
}

/// Writes the keys: whole or not at all, for the owner's eyes only.
pub fn write(book: &Path, keys: &Keys) -> Result<(), Fault> {
    let path = path_beside(book);
    write_private(&path, keys).map_err(|error| {
        Fault::failed(
            format!("The sign-in can't be kept in {}: {error}.", path.display()),
            "Make room and check who may write there, then sign in again.",
        )
        .keeping("The stock book is untouched.")
    })
}

/// Writes a file for the owner's eyes only, whole or not at all.
pub(crate) fn write_private(path: &Path, what: &impl Serialize) -> std::io::Result<()> {
    let mut name = path.file_name().map(std::ffi::OsStr::to_owned).unwrap_or_default();
    name.push(format!(".{}", std::process::id()));
    let beside = path.with_file_name(name);
    let mut options = fs::OpenOptions::new();
    options.write(true).create(true).truncate(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let mut file = options.open(&beside)?;
    file.write_all(&serde_json::to_vec_pretty(what)?)?;
    file.sync_all()?;
    fs::rename(&beside, path)?;
    // A refresh token works once: the old pair must not come back.
    sync_name(path)
}
