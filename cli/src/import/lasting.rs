//! Ids of imported things: the same on every device of a farm, whatever the file's order, so that a
//! file imported twice doesn't count its stock twice.

use sha2::{Digest, Sha256};
use spareloop_domain::words::FarmId;
use uuid::{Builder, Uuid};

/// The id of what a key names on a farm (SHA-256 in a UUID version 8, RFC 9562). The salt is
/// counted up while the lot's code is taken by another lot.
pub(super) fn id(farm: FarmId, key: &str, salt: u32) -> Uuid {
    let mut hasher = Sha256::new();
    hasher.update(b"spareloop import\0");
    hasher.update(farm.uuid().as_bytes());
    hasher.update(salt.to_be_bytes());
    hasher.update(key.as_bytes());
    let digest = hasher.finalize();
    let mut bytes = [0; 16];
    bytes.copy_from_slice(&digest[..16]);
    Builder::from_custom_bytes(bytes).into_uuid()
}

/// The key of a lot by its label: case and runs of spaces don't count.
pub(super) fn label_key(label: &str) -> String {
    let words: Vec<String> = label.split_whitespace().map(str::to_lowercase).collect();
    format!("label:{}", words.join(" "))
}
