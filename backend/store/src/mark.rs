//! Short marks by which a device sees that something changed, without asking for it.
//!
//! What may not enter: anything that guards against somebody; eight bytes only tell of change.

use sha2::{Digest, Sha256};

/// The first eight bytes of what was hashed.
pub(crate) fn mark_of(hasher: Sha256) -> u64 {
    let digest: [u8; 32] = hasher.finalize().into();
    digest[..8].iter().fold(0, |mark, byte| mark << 8 | u64::from(*byte))
}
