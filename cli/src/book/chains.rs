//! What every chain must hold: where it ends, how many entries, and where they stand in the feed.
//!
//! An entry's hash tells that it was changed, and the hash that the next one names that it is
//! missing. The table behind this module (kept by triggers, sealed like every small table) tells
//! the same of the last entries, which nothing follows, and of positions, which no hash covers.

use std::collections::BTreeMap;

use diesel::prelude::*;
use diesel::sqlite::SqliteConnection;
use spareloop_domain::ledger::sync::Head;
use spareloop_domain::ledger::{Entry, Hash, Seq};
use spareloop_domain::words::DeviceId;

use super::BookError;
use super::entries::Seen;
use super::farm::odd;
use super::schema::chains;

/// A chain, as the book says that it is or as it was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Chain {
    /// How many entries.
    pub entries: u64,
    /// The place of the last one.
    pub last: Seq,
    /// Its hash.
    pub hash: Hash,
    /// How many have no known place in the server's feed.
    pub unplaced: u64,
    /// The sum of the places of the others.
    places: u64,
    /// The sum of the times at which the server took them.
    taken: u64,
}

impl Chain {
    /// Its end, as a sync speaks of it.
    pub const fn head(&self) -> Head {
        Head { seq: self.last, hash: self.hash }
    }
}

/// Every chain, as the book says that it is.
pub fn all(connection: &mut SqliteConnection) -> Result<BTreeMap<DeviceId, Chain>, BookError> {
    let rows: Vec<(String, i64, i64, String, i64, i64, i64)> = chains::table
        .select((
            chains::device,
            chains::entries,
            chains::last_seq,
            chains::last_hash,
            chains::unplaced,
            chains::places,
            chains::taken,
        ))
        .load(connection)?;
    let number = |it: i64| u64::try_from(it).map_err(odd);
    rows.into_iter()
        .map(|(device, entries, last, hash, unplaced, places, taken)| {
            let chain = Chain {
                entries: number(entries)?,
                last: Seq::new(number(last)?).ok_or_else(|| odd("a chain without entries"))?,
                hash: hash.parse().map_err(odd)?,
                unplaced: number(unplaced)?,
                places: number(places)?,
                taken: number(taken)?,
            };
            Ok((device.parse().map_err(odd)?, chain))
        })
        .collect()
}

/// Follows entries as they are read, chain by chain in order, and says whether they are all.
#[derive(Debug, Default)]
pub struct Follower {
    read: BTreeMap<DeviceId, Chain>,
}

impl Follower {
    /// Takes the next entry, whose own hash holds: it must be the next of its chain.
    pub fn take(&mut self, entry: &Entry, seen: Option<Seen>) -> Result<(), BookError> {
        let before = self.read.get(&entry.device).copied();
        let next =
            before.map_or((Seq::FIRST, Hash::START), |chain| (chain.last.next(), chain.hash));
        if (entry.seq, entry.prev) != next {
            return Err(BookError::Damaged(format!(
                "the chain of device {} is broken at {}",
                entry.device, entry.seq
            )));
        }
        let (last, hash) = (entry.seq, entry.hash);
        let mut chain =
            before.unwrap_or(Chain { entries: 0, last, hash, unplaced: 0, places: 0, taken: 0 });
        (chain.last, chain.hash) = (last, hash);
        chain.entries += 1;
        match seen {
            None => chain.unplaced += 1,
            // Damaged numbers may be any; what comes out differs all the same.
            Some(seen) => {
                chain.places = chain.places.wrapping_add(seen.position);
                chain.taken = chain.taken.wrapping_add(seen.taken_at);
            }
        }
        self.read.insert(entry.device, chain);
        Ok(())
    }

    /// Says whether what was taken is what the book must hold.
    pub fn end(self, expected: &BTreeMap<DeviceId, Chain>) -> Result<(), BookError> {
        let differs = |device: &&DeviceId| self.read.get(*device) != expected.get(*device);
        match self.read.keys().chain(expected.keys()).find(differs) {
            None => Ok(()),
            Some(device) => Err(BookError::Damaged(format!(
                "the chain of device {device} does not end as it was written"
            ))),
        }
    }
}
