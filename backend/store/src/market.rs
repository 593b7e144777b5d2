//! A network's market as far as rows tell: whether it changed.
//!
//! What may not enter: what anything is worth.

use sha2::{Digest, Sha256};
use spareloop_domain::words::{Day, NetworkId};

use crate::{StoreError, Tx, offers, wants};

/// A mark that differs where open offers or wants do, or the day.
pub fn mark(tx: &mut Tx<'_>, network: NetworkId, today: Day) -> Result<String, StoreError> {
    let mut hasher = Sha256::new();
    hasher.update(today.to_string());
    for sum in offers::sums(tx, network)?.into_iter().chain(wants::sums(tx, network)?) {
        hasher.update(sum.to_be_bytes());
    }
    let digest: [u8; 32] = hasher.finalize().into();
    let mark = digest[..8].iter().fold(0_u64, |mark, byte| mark << 8 | u64::from(*byte));
    Ok(format!("{mark:016x}"))
}
