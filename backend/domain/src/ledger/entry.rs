//! The envelope of an entry, its canonical form and its hash.

use std::fmt;
use std::num::NonZeroU64;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use serde_json::Value;
use sha2::{Digest, Sha256};

use super::body::{Body, BodyError};
use super::clock::Stamp;
use crate::words::{Day, DeviceId, EntryId, FarmId};

/// The place of an entry in its device's chain: 1, 2, 3 ... without gaps.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Seq(NonZeroU64);

impl Seq {
    /// The first place.
    pub const FIRST: Self = Self(NonZeroU64::MIN);

    /// Wraps a number above 0.
    pub fn new(number: u64) -> Option<Self> {
        NonZeroU64::new(number).map(Self)
    }

    /// The plain number.
    pub const fn get(self) -> u64 {
        self.0.get()
    }

    /// The place behind this one.
    #[must_use]
    pub const fn next(self) -> Self {
        Self(self.0.saturating_add(1))
    }
}

impl fmt::Display for Seq {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// SHA-256 over an entry's canonical form, written as 64 hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Hash([u8; 32]);

impl Hash {
    /// What the first entry of a chain names as the one before it.
    pub const START: Self = Self([0; 32]);
}

impl fmt::Display for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl fmt::Debug for Hash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl FromStr for Hash {
    type Err = EntryError;
    fn from_str(text: &str) -> Result<Self, EntryError> {
        let wrong = || EntryError::NotAHash(text.to_owned());
        if text.len() != 64 || !text.is_ascii() {
            return Err(wrong());
        }
        let mut bytes = [0; 32];
        for (byte, start) in bytes.iter_mut().zip((0..64).step_by(2)) {
            *byte = u8::from_str_radix(&text[start..start + 2], 16).map_err(|_| wrong())?;
        }
        Ok(Self(bytes))
    }
}

impl TryFrom<String> for Hash {
    type Error = EntryError;
    fn try_from(text: String) -> Result<Self, EntryError> {
        text.parse()
    }
}

impl From<Hash> for String {
    fn from(hash: Hash) -> Self {
        hash.to_string()
    }
}

/// Why a text or a chain of entries is refused.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum EntryError {
    /// Not 64 hexadecimal digits.
    #[error("{0:?} is not a hash")]
    NotAHash(String),
    /// The hash doesn't match the content.
    #[error("entry {0} was changed after it was made: its hash does not match")]
    HashMismatch(EntryId),
    /// The canonical form can't be made (a number that is not finite, say).
    #[error("the entry has no canonical form: {0}")]
    NotCanonical(String),
    /// The body is not what its kind says.
    #[error(transparent)]
    Body(#[from] BodyError),
}

/// One entry of a farm's ledger, as kept, sent and never changed.
///
/// The body stays JSON here, so that an entry of a newer version is kept and passed on as it came.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Entry {
    /// UUID version 7.
    pub id: EntryId,
    /// Whose ledger.
    pub farm: FarmId,
    /// Which device made it.
    pub device: DeviceId,
    /// Its place in the device's chain.
    pub seq: Seq,
    /// When it was made, on the hybrid clock.
    pub at: Stamp,
    /// The day on which it happened; may be earlier.
    pub on: Day,
    /// The kind's code.
    pub kind: String,
    /// What happened: an object that carries its version as `v`.
    pub body: Value,
    /// The hash of the device's entry before.
    pub prev: Hash,
    /// SHA-256 over all of the above in canonical form (RFC 8785).
    pub hash: Hash,
}

/// What is known of an entry before it takes its place in the chain.
#[derive(Debug, Clone, PartialEq)]
pub struct Draft {
    /// UUID version 7.
    pub id: EntryId,
    /// The day on which it happened.
    pub on: Day,
    /// What happened.
    pub body: Body,
}

#[derive(Serialize)]
struct Hashed<'a> {
    id: EntryId,
    farm: FarmId,
    device: DeviceId,
    seq: Seq,
    at: Stamp,
    on: Day,
    kind: &'a str,
    body: &'a Value,
    prev: Hash,
}

impl Entry {
    /// Puts a draft at its place in a device's chain.
    pub fn seal(
        draft: Draft,
        farm: FarmId,
        device: DeviceId,
        seq: Seq,
        at: Stamp,
        prev: Hash,
    ) -> Result<Self, EntryError> {
        let mut entry = Self {
            id: draft.id,
            farm,
            device,
            seq,
            at,
            on: draft.on,
            kind: draft.body.kind().to_owned(),
            body: draft.body.to_json(),
            prev,
            hash: Hash::START,
        };
        entry.hash = entry.computed_hash()?;
        Ok(entry)
    }

    /// The canonical form that is hashed: RFC 8785 over everything but the hash itself.
    pub fn canonical(&self) -> Result<Vec<u8>, EntryError> {
        let Self { id, farm, device, seq, at, on, kind, body, prev, hash: _ } = self;
        let hashed = Hashed {
            id: *id,
            farm: *farm,
            device: *device,
            seq: *seq,
            at: *at,
            on: *on,
            kind,
            body,
            prev: *prev,
        };
        serde_json_canonicalizer::to_vec(&hashed)
            .map_err(|error| EntryError::NotCanonical(error.to_string()))
    }

    /// The hash that the content gives.
    pub fn computed_hash(&self) -> Result<Hash, EntryError> {
        Ok(Hash(Sha256::digest(self.canonical()?).into()))
    }

    /// Refuses an entry whose content was changed after it was made.
    pub fn verify(&self) -> Result<(), EntryError> {
        if self.computed_hash()? == self.hash {
            Ok(())
        } else {
            Err(EntryError::HashMismatch(self.id))
        }
    }

    /// The body as its kind's struct; kinds of a newer version come back as [`Body::Newer`].
    pub fn read_body(&self) -> Result<Body, BodyError> {
        Body::from_json(&self.kind, &self.body)
    }

    /// How many bytes it takes as JSON, as it travels.
    pub fn size(&self) -> usize {
        // A string-keyed struct of plain values has a JSON form; if not, it is no batch's last straw.
        serde_json::to_vec(self).map_or(0, |json| json.len())
    }

    /// The order in which the fold takes entries: day, clock, device, sequence.
    pub const fn order(&self) -> (Day, Stamp, DeviceId, Seq) {
        (self.on, self.at, self.device, self.seq)
    }
}
