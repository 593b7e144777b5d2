//! Hashes and chains of a whole ledger.
//!
//! What may not enter: the book.

use std::collections::BTreeMap;

use super::super::entry::{Entry, Hash, Seq};
use crate::words::{DeviceId, EntryId};

/// What is wrong with a chain.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ChainFault {
    /// An entry is not what its hash says.
    #[error("entry {entry} was changed after it was made: its hash does not match")]
    Changed {
        /// The entry.
        entry: EntryId,
    },
    /// An entry is missing, doubled or doesn't name the one before it.
    #[error("the chain of device {device} is broken at {seq}")]
    Broken {
        /// The device.
        device: DeviceId,
        /// The place.
        seq: Seq,
    },
}

/// Everything wrong with the chains of a ledger, whatever the order in which its entries come.
///
/// Each chain must be 1, 2, 3 ... with every entry naming the hash of the one before.
pub fn chain_faults(entries: &[Entry]) -> Vec<ChainFault> {
    let mut chains: BTreeMap<DeviceId, Vec<&Entry>> = BTreeMap::new();
    for entry in entries {
        chains.entry(entry.device).or_default().push(entry);
    }
    let mut faults = Vec::new();
    for (device, mut chain) in chains {
        chain.sort_by_key(|entry| entry.seq);
        let mut next = (Seq::FIRST, Hash::START);
        for entry in chain {
            if entry.verify().is_err() {
                faults.push(ChainFault::Changed { entry: entry.id });
            }
            if (entry.seq, entry.prev) != next {
                faults.push(ChainFault::Broken { device, seq: entry.seq });
            }
            next = (entry.seq.next(), entry.hash);
        }
    }
    faults
}
