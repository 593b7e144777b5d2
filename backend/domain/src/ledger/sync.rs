//! The plan of a sync, the rule by which an entry is accepted, and the size of a batch.
//!
//! Both sides say what they hold ([`Mine`] and [`Theirs`]); what to send and what to fetch follows
//! from the two alone. A sync can stop anywhere and go on later: the plan is made anew each time,
//! and what is sent twice is recognised by device, sequence and hash.
//!
//! What may not enter: input or output, stores, retries, the wire's own types.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::entry::{Entry, Hash, Seq};
use crate::planted::{self, Bug};
use crate::words::{DeviceId, FarmId};

/// How large an entry may be as JSON, in bytes. What people note is far below it; an entry that no
/// push could carry would hold up what stands behind it.
pub const MOST_ENTRY_BYTES: usize = 256 * 1024;

/// A place in the farm's feed on the server: 1, 2, 3 ... without gaps; 0 stands before all.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Position(pub u64);

/// Names one life of the server's store; a server restored from a backup takes a new one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Epoch(pub String);

/// The end of a device's chain: everything up to `seq` is there, and its hash there is `hash`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Head {
    /// The last place.
    pub seq: Seq,
    /// The hash there.
    pub hash: Hash,
}

/// The end of every device's chain.
pub type Heads = BTreeMap<DeviceId, Head>;

/// What the server says it holds of the farm.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Theirs {
    /// Whose ledger.
    pub farm: FarmId,
    /// The life of its store.
    pub epoch: Epoch,
    /// The position of its newest entry.
    pub newest: Position,
    /// The ends of its chains.
    pub heads: Heads,
}

/// What a device holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mine {
    /// Whose ledger.
    pub farm: FarmId,
    /// The epoch under which `fetched` was reached, if it ever synced.
    pub epoch: Option<Epoch>,
    /// Everything up to here was fetched and is durable.
    pub fetched: Position,
    /// The ends of the chains held here, of every device and not only of this one.
    pub heads: Heads,
}

/// Consecutive entries of one device, both ends included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Range {
    /// Whose chain.
    pub device: DeviceId,
    /// From here.
    pub first: Seq,
    /// To here.
    pub last: Seq,
}

/// Whether the server is the one that the device knew.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ServerLife {
    /// The first sync.
    FirstMet,
    /// It goes on from where the device left it.
    GoesOn,
    /// Its epoch changed, or it ends before what the device had fetched from it: it was restored
    /// from an older copy. Everything it lacks is sent again and its feed is read from the start.
    Restored,
}

/// What a sync is to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plan {
    /// What the server lacks, in the order of devices.
    pub to_send: Vec<Range>,
    /// Fetch everything after this position; `None` where nothing is new.
    pub fetch_after: Option<Position>,
    /// Devices whose chains differ at a place that both sides hold. Their entries are kept here;
    /// a new device id is taken and what the server lacks is appended again under it.
    pub forked: Vec<DeviceId>,
    /// Devices of whose chains the server holds more. If this device is among them, it was put
    /// back from an older copy and must fetch before it notes anything.
    pub behind: Vec<DeviceId>,
    /// Whether the server is the one that was known.
    pub server: ServerLife,
}

/// Why no plan is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum PlanError {
    /// The account on the server is of another farm.
    #[error(
        "this device keeps the book of farm {mine}, the server's account is of farm {theirs}: nothing was sent"
    )]
    WrongFarm {
        /// The farm here.
        mine: FarmId,
        /// The farm there.
        theirs: FarmId,
    },
}

/// What to send and what to fetch.
///
/// `my_hash` answers the hash of an entry held here; it is asked only at places at or before the
/// head of that chain.
pub fn plan(
    mine: &Mine,
    theirs: &Theirs,
    my_hash: impl Fn(DeviceId, Seq) -> Option<Hash>,
) -> Result<Plan, PlanError> {
    if mine.farm != theirs.farm {
        return Err(PlanError::WrongFarm { mine: mine.farm, theirs: theirs.farm });
    }
    let server = server_life(mine, theirs);
    let after = match server {
        ServerLife::GoesOn => mine.fetched,
        ServerLife::FirstMet | ServerLife::Restored => Position::default(),
    };
    let fetch_after = (theirs.newest > after).then_some(after);
    let (mut to_send, mut forked, mut behind) = (Vec::new(), Vec::new(), Vec::new());
    for (device, head) in &mine.heads {
        let Some(theirs) = theirs.heads.get(device) else {
            to_send.push(Range { device: *device, first: Seq::FIRST, last: head.seq });
            continue;
        };
        if theirs.seq > head.seq {
            behind.push(*device);
        } else if my_hash(*device, theirs.seq) != Some(theirs.hash) {
            forked.push(*device);
        } else if theirs.seq < head.seq {
            to_send.push(Range { device: *device, first: theirs.seq.next(), last: head.seq });
        }
    }
    let unknown_here = theirs.heads.keys().filter(|device| !mine.heads.contains_key(device));
    behind.extend(unknown_here);
    behind.sort_unstable();
    Ok(Plan { to_send, fetch_after, forked, behind, server })
}

fn server_life(mine: &Mine, theirs: &Theirs) -> ServerLife {
    match &mine.epoch {
        None => ServerLife::FirstMet,
        Some(_) if planted::is(Bug::EpochUnnoticed) => ServerLife::GoesOn,
        Some(epoch) if *epoch != theirs.epoch || mine.fetched > theirs.newest => {
            ServerLife::Restored
        }
        Some(_) => ServerLife::GoesOn,
    }
}

/// What a store does with an entry that is brought to it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Acceptance {
    /// It is the next of its chain.
    Append,
    /// It is here already, byte for byte.
    AlreadyHere,
    /// Another entry stands at its place: the device was put back from an old copy, or cloned.
    Fork,
    /// Entries before it are missing.
    Gap {
        /// What must come next.
        expected: Seq,
    },
    /// It does not name the hash of the entry before it.
    BrokenChain,
    /// Its hash is not that of its content.
    Tampered,
    /// It belongs to another farm's ledger.
    WrongFarm,
}

/// Whether an entry may be stored, given the head of its device's chain and the hash of the entry
/// that stands at a place, if one does.
///
/// ```text
/// another farm -> content against hash -> something at its place -> next of the chain -> prev
/// ```
pub fn accept(
    farm: FarmId,
    head: Option<Head>,
    existing: impl FnOnce(DeviceId, Seq) -> Option<Hash>,
    entry: &Entry,
) -> Acceptance {
    if entry.farm != farm {
        return Acceptance::WrongFarm;
    }
    if entry.verify().is_err() {
        return Acceptance::Tampered;
    }
    let expected = head.map_or(Seq::FIRST, |head| head.seq.next());
    if entry.seq > expected && planted::is(Bug::GapAccepted) {
        return Acceptance::Append;
    }
    if entry.seq > expected {
        return Acceptance::Gap { expected };
    }
    if entry.seq < expected {
        return match existing(entry.device, entry.seq) {
            Some(hash) if hash == entry.hash || planted::is(Bug::ForkIgnored) => {
                Acceptance::AlreadyHere
            }
            _ => Acceptance::Fork,
        };
    }
    let before = head.map_or(Hash::START, |head| head.hash);
    if entry.prev == before || planted::is(Bug::PrevIgnored) {
        Acceptance::Append
    } else {
        Acceptance::BrokenChain
    }
}

/// How much goes at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BatchLimits {
    /// Most entries.
    pub entries: usize,
    /// Most bytes, as they travel.
    pub bytes: usize,
}

impl BatchLimits {
    /// How many of the coming entries, given their sizes in bytes, make the next batch: as many as
    /// both limits allow, and at least one if there is one, so that a large entry goes alone
    /// instead of never.
    ///
    /// ```
    /// use spareloop_domain::ledger::sync::BatchLimits;
    /// let limits = BatchLimits { entries: 3, bytes: 100 };
    /// assert_eq!(limits.fit([60, 40, 1]), 2);
    /// assert_eq!(limits.fit([5000, 1]), 1);
    /// ```
    pub fn fit(self, sizes: impl IntoIterator<Item = usize>) -> usize {
        let mut bytes = 0_usize;
        let fitting =
            sizes.into_iter().take(self.entries.max(1)).enumerate().take_while(|(index, size)| {
                bytes = bytes.saturating_add(*size);
                *index == 0 || bytes <= self.bytes
            });
        fitting.count()
    }
}

#[cfg(test)]
#[path = "sync_tests.rs"]
mod tests;
