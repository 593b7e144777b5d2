//! A network's market as far as rows tell: whether it changed.
//!
//! What may not enter: what anything is worth.

use sha2::{Digest, Sha256};
use spareloop_domain::words::{Day, NetworkId};

use crate::mark::mark_of;
use crate::{StoreError, Tx, offers, wants};

/// A mark that differs where open offers or wants do, or the day.
pub fn mark(tx: &mut Tx<'_>, network: NetworkId, today: Day) -> Result<String, StoreError> {
    let mut hasher = Sha256::new();
    hasher.update(today.to_string());
    for sum in offers::sums(tx, network)?.into_iter().chain(wants::sums(tx, network)?) {
        hasher.update(sum.to_be_bytes());
    }
    Ok(format!("{:016x}", mark_of(hasher)))
}
