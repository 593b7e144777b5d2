//! The server's seal on what it writes into the farms' ledgers.
//!
//! A server put back from an older copy lacks what it wrote since on its house devices; the devices
//! that fetched it bring it back. So chains of house devices, past and present, are open to what the
//! server wrote and closed to everything else. It knows its own by their ids: the random part of such
//! an entry's id (74 bits of a UUID version 7) is HMAC-SHA-256 over the entry, under a key that the
//! database keeps and that goes with it into every copy. Everybody can carry a sealed entry, only
//! the server can make one; and a chain of it that a copy knows nothing of is known again by the seal.
//!
//! What may not enter: which chain is a house device's, and what else makes an entry acceptable.

use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;
use spareloop_domain::ledger::{Draft, Entry, EntryError};
use spareloop_domain::words::{EntryId, uuid_v7};
use uuid::Uuid;

/// What stands in the id's place while the seal is made.
const BLANK: EntryId = EntryId::new(Uuid::nil());

/// The key of the seal.
#[derive(Clone)]
pub(crate) struct HouseSeal([u8; 32]);

impl HouseSeal {
    pub(crate) const fn new(key: [u8; 32]) -> Self {
        Self(key)
    }

    /// The entry under the id that seals it, whatever id it had.
    pub(super) fn put_on(&self, unsealed: Entry) -> Result<Entry, EntryError> {
        let Entry { id: _, farm, device, seq, at, on, kind: _, body: _, prev, hash: _ } = unsealed;
        let body = unsealed.read_body()?;
        let id = self.id_of(unsealed)?;
        Entry::seal(Draft { id, on, body }, farm, device, seq, at, prev)
    }

    /// Whether this server wrote the entry.
    pub(super) fn is_on(&self, entry: &Entry) -> bool {
        self.id_of(entry.clone()).is_ok_and(|id| id == entry.id)
    }

    fn id_of(&self, mut entry: Entry) -> Result<EntryId, EntryError> {
        entry.id = BLANK;
        // HMAC itself fills a key up to the hash's block of 64 bytes with zeros.
        let mut block = [0; 64];
        block[..32].copy_from_slice(&self.0);
        let mut mac = Hmac::<Sha256>::new(&block.into());
        mac.update(&entry.canonical()?);
        let tag: [u8; 32] = mac.finalize().into_bytes().into();
        let mut random = [0; 10];
        random.copy_from_slice(&tag[..10]);
        Ok(EntryId::new(uuid_v7(entry.at.millis, random)))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use spareloop_domain::ledger::{Hash, Seq, Stamp};
    use spareloop_domain::words::{DeviceId, FarmId};

    use super::*;

    fn entry() -> Entry {
        let (farm, device) = (FarmId::new(Uuid::nil()), DeviceId::new(Uuid::nil()));
        let body = spareloop_domain::ledger::Body::Newer {
            kind: "invented".to_owned(),
            body: serde_json::json!({"v": 1, "count": 3}),
        };
        let draft = Draft { id: BLANK, on: "2026-01-05".parse().unwrap(), body };
        let at = Stamp { millis: 1_767_600_000_000, counter: 0 };
        Entry::seal(draft, farm, device, Seq::FIRST, at, Hash::START).unwrap()
    }

    #[test]
    fn a_sealed_entry_is_known_and_any_change_or_another_key_breaks_the_seal() {
        let seal = HouseSeal::new([7; 32]);
        let sealed = seal.put_on(entry()).unwrap();
        sealed.verify().unwrap();
        assert!(seal.is_on(&sealed));
        assert!(!seal.is_on(&entry()));
        assert!(!HouseSeal::new([8; 32]).is_on(&sealed));
        let mut changed = sealed.clone();
        changed.body["count"] = 4.into();
        assert!(!seal.is_on(&changed));
        let mut moved = sealed;
        moved.seq = moved.seq.next();
        assert!(!seal.is_on(&moved));
    }
}
