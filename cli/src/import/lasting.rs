//! Ids of imported things: the same on every device of a farm, whatever the file's order, so that a
//! file imported twice doesn't count its stock twice.

use sha2::{Digest, Sha256};
use spareloop_domain::ledger::Book;
use spareloop_domain::ledger::book::Lot;
use spareloop_domain::words::{FarmId, LotId};
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
pub(crate) fn label_key(label: &str) -> String {
    let words: Vec<String> = label.split_whitespace().map(str::to_lowercase).collect();
    format!("label:{}", words.join(" "))
}

/// The lot that a sheet gave that label, if the book has it: the label is in its id, so that every
/// device of the farm knows it again.
pub(crate) fn labelled<'a>(book: &'a Book, farm: FarmId, label: &str) -> Option<&'a Lot> {
    let key = label_key(label);
    for salt in 0_u32.. {
        let lot = LotId::new(id(farm, &key, salt));
        if let Some(lot) = book.lots.get(&lot) {
            return Some(lot);
        }
        // The next salt was only taken if another lot had the code of this one.
        if book.lots.keys().all(|other| other.code() != lot.code()) {
            return None;
        }
    }
    None
}
