//! Entries that a farm's devices bring.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use diesel::{ExpressionMethods, QueryDsl, RunQueryDsl};
use spareloop_domain::ledger::sync::{Acceptance, Head, Heads, MOST_ENTRY_BYTES, Position, accept};
use spareloop_domain::ledger::{Entry, Hash, Seq};
use spareloop_domain::words::{DeviceId, EntryId, FarmId};

use super::{HouseSeal, heads, lock_farm, place};
use crate::devices::{Known, count, insert_brought, insert_house, known as known_as};
use crate::schema::entries;
use crate::text::{read, unsigned};
use crate::{StoreError, Tx, questions};

/// The largest stamp that JSON's numbers carry without loss (RFC 8785 hashes them as doubles).
const LARGEST_STAMP: u64 = 1 << 53;

/// How far a push got.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Appended {
    /// Entries newly stored.
    pub stored: u64,
    /// Entries that were here already, byte for byte.
    pub already_here: u64,
    /// The first entry refused of each device; what follows it in its chain was not taken.
    pub refused: Vec<RefusedEntry>,
    /// The ends of the chains afterwards.
    pub heads: Heads,
    /// The position of the newest entry afterwards; what was stored stands at the last ones.
    pub position: Position,
}

/// An entry that was refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RefusedEntry {
    /// The entry.
    pub id: EntryId,
    /// Its device.
    pub device: DeviceId,
    /// Its place.
    pub seq: Seq,
    /// Why.
    pub why: EntryRefusal,
}

/// Why an entry was refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum EntryRefusal {
    /// Another entry stands at its place.
    #[error(
        "another entry stands at its place (fork): the device was put back from an old copy, or cloned"
    )]
    Fork,
    /// Entries before it are missing.
    #[error("entries before it are missing: place {expected} must come next")]
    Gap {
        /// What must come next.
        expected: Seq,
    },
    /// It does not name the hash of the entry before it.
    #[error("it does not follow the entry before it in its device's chain")]
    BrokenChain,
    /// Its hash is not that of its content.
    #[error("it was changed after it was made: its hash does not match")]
    Tampered,
    /// It belongs to another farm, or its device does.
    #[error("it belongs to another farm")]
    WrongFarm,
    /// It stands on a chain on which only the server writes, and the server didn't write it.
    #[error("only the server writes on the house device's chain")]
    HouseDevice,
    /// Its device is registered nowhere and the farm has as many as one may have.
    #[error(
        "its device is not known here, and this farm has as many devices as a farm may have ({MOST_DEVICES})"
    )]
    DeviceUnknown,
    /// No book can keep it.
    #[error(
        "it can't be kept: its kind or its clock is out of range, or it is larger than {MOST_ENTRY_BYTES} bytes"
    )]
    Unkeepable,
}

/// Devices that a farm may have come to by what others bring; each costs every summary a line.
pub const MOST_DEVICES: usize = 500;

/// Adds what a device brings: entries of any of the farm's devices, each device's in order.
///
/// Who brings entries of a device that is registered nowhere speaks for it: after a restore the
/// server may know less of a farm's devices than the devices do of one another. The device is made
/// known then, and the grower sees it among the farm's devices.
///
/// Idempotent on device, place and hash. An entry that is refused stops its own device's chain and
/// no other. In the same transaction, promises that the stock no longer bears are cut.
pub fn append(
    tx: &mut Tx<'_>,
    farm: FarmId,
    brought: &[Entry],
    now: DateTime<Utc>,
) -> Result<Appended, StoreError> {
    let mut locked = lock_farm(tx, farm)?;
    let mut done = Appended {
        stored: 0,
        already_here: 0,
        refused: Vec::new(),
        heads: heads(tx, farm)?,
        position: Position::default(),
    };
    let before = questions::before(tx, farm)?;
    let mut here = Here::of(tx, farm, brought)?;
    let mut stopped = BTreeSet::new();
    for entry in brought {
        if stopped.contains(&entry.device) {
            continue;
        }
        match judge(farm, &done.heads, &here, entry) {
            Ok(Verdict::Append) => {
                here.speak_for(tx, farm, entry, now)?;
                locked.add(tx, entry, now)?;
                done.heads.insert(entry.device, Head { seq: entry.seq, hash: entry.hash });
                here.hashes.insert((entry.device, entry.seq), entry.hash);
                done.stored += 1;
            }
            Ok(Verdict::AlreadyHere) => done.already_here += 1,
            Err(why) => {
                stopped.insert(entry.device);
                let (id, device, seq) = (entry.id, entry.device, entry.seq);
                done.refused.push(RefusedEntry { id, device, seq, why });
            }
        }
    }
    if done.stored > 0 {
        locked.keep_position(tx)?;
        crate::promises::settle(tx, farm, now)?;
        questions::ask_after(tx, farm, before, now)?;
    }
    done.position = Position(unsigned(locked.newest_position)?);
    Ok(done)
}

enum Verdict {
    Append,
    AlreadyHere,
}

fn judge(farm: FarmId, heads: &Heads, here: &Here, entry: &Entry) -> Result<Verdict, EntryRefusal> {
    let kind_fits =
        (1..=64).contains(&entry.kind.len()) && !entry.kind.chars().any(char::is_control);
    if !kind_fits || entry.at.millis > LARGEST_STAMP || entry.size() > MOST_ENTRY_BYTES {
        return Err(EntryRefusal::Unkeepable);
    }
    let known = here.known.get(&entry.device).copied().unwrap_or(Known::Nowhere);
    if known == Known::Others {
        return Err(EntryRefusal::WrongFarm);
    }
    let head = heads.get(&entry.device).copied();
    let existing = |device, seq| here.hashes.get(&(device, seq)).copied();
    match accept(farm, head, existing, entry) {
        Acceptance::Append => match known {
            Known::House if !here.seal.is_on(entry) => Err(EntryRefusal::HouseDevice),
            Known::Nowhere if here.devices >= MOST_DEVICES => Err(EntryRefusal::DeviceUnknown),
            _ => Ok(Verdict::Append),
        },
        Acceptance::AlreadyHere => Ok(Verdict::AlreadyHere),
        Acceptance::Fork => Err(EntryRefusal::Fork),
        Acceptance::Gap { expected } => Err(EntryRefusal::Gap { expected }),
        Acceptance::BrokenChain => Err(EntryRefusal::BrokenChain),
        Acceptance::Tampered => Err(EntryRefusal::Tampered),
        Acceptance::WrongFarm => Err(EntryRefusal::WrongFarm),
    }
}

/// What stands already at the places that a push speaks of, and whose devices they are.
struct Here {
    seal: HouseSeal,
    hashes: BTreeMap<(DeviceId, Seq), Hash>,
    known: BTreeMap<DeviceId, Known>,
    devices: usize,
}

impl Here {
    fn of(tx: &mut Tx<'_>, farm: FarmId, brought: &[Entry]) -> Result<Self, StoreError> {
        let mut spans: BTreeMap<DeviceId, (i64, i64)> = BTreeMap::new();
        for entry in brought {
            let seq = i64::try_from(entry.seq.get()).unwrap_or(i64::MAX);
            let span = spans.entry(entry.device).or_insert((seq, seq));
            *span = (span.0.min(seq), span.1.max(seq));
        }
        let (hashes, known) = (BTreeMap::new(), BTreeMap::new());
        let mut here = Self { seal: tx.seal()?, hashes, known, devices: count(tx, farm)? };
        for (device, span) in spans {
            here.known.insert(device, known_as(tx, farm, device)?);
            here.load(tx, farm, device, span)?;
        }
        Ok(here)
    }

    fn load(
        &mut self,
        tx: &mut Tx<'_>,
        farm: FarmId,
        device: DeviceId,
        (first, last): (i64, i64),
    ) -> Result<(), StoreError> {
        let rows: Vec<(i64, String)> = entries::table
            .filter(entries::farm.eq(farm.to_string()))
            .filter(entries::device.eq(device.to_string()))
            .filter(entries::seq.between(first, last))
            .select((entries::seq, entries::hash))
            .load(tx.connection)?;
        for (seq, hash) in rows {
            self.hashes.insert((device, place(seq)?), read(&hash)?);
        }
        Ok(())
    }

    /// A device that is registered nowhere: whoever brings its entries speaks for it. Where the
    /// server's seal is on the entry, it is a house device of a life that this copy knows nothing of.
    fn speak_for(
        &mut self,
        tx: &mut Tx<'_>,
        farm: FarmId,
        entry: &Entry,
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        if self.known.get(&entry.device) != Some(&Known::Nowhere) {
            return Ok(());
        }
        let known = if self.seal.is_on(entry) {
            insert_house(tx, farm, entry.device, now)?;
            Known::House
        } else {
            insert_brought(tx, farm, entry.device, now)?;
            Known::Farms
        };
        self.known.insert(entry.device, known);
        self.devices += 1;
        Ok(())
    }
}
