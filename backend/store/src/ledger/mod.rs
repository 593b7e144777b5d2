//! The farms' ledgers: rows are added, never changed, never removed.
//!
//! Positions are 1, 2, 3 ... per farm. They are taken while the farm's row is locked, so that they
//! become visible in order and a reader never skips one. What may not enter: the rules by which an
//! entry is accepted or a promise cut; they are `domain`'s and called from here.

mod append;
mod house;
mod row;
mod seal;

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, RunQueryDsl};
use sha2::{Digest, Sha256};
use spareloop_domain::ledger::sync::{BatchLimits, Head, Heads, Position};
use spareloop_domain::ledger::{Entry, Hash, Seq};
use spareloop_domain::planted::{self, Bug};
use spareloop_domain::words::{Count, Day, DeviceId, FarmId, LotId};

pub use append::{Appended, EntryRefusal, MOST_DEVICES, RefusedEntry, append};
pub use house::append_house;
pub(crate) use house::write_house;
pub(crate) use seal::HouseSeal;

use crate::mark::mark_of;
use crate::offers::promised_by_lot;
use crate::schema::{entries, farms};
use crate::text::{read, today, unsigned};
use crate::{Missing, StoreError, Tx, market, network_summaries};
use row::{COLUMNS, EntryRow};

/// What the server holds of a farm's ledger.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Summary {
    /// The position of the newest entry; 0 while there is none.
    pub position: Position,
    /// The end of every device's chain.
    pub heads: Heads,
    /// Stands for what is promised of the farm's lots.
    pub promised: u64,
    /// Stands for what is offered and wanted in the farm's network.
    pub market: String,
    /// Stands for what the farm is told of what the others of its network saw.
    pub network: Option<String>,
}

/// An entry at its position in the farm's feed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Positioned {
    /// 1, 2, 3 ... per farm.
    pub position: Position,
    /// When it was stored, in milliseconds since 1970 UTC.
    pub taken_at: u64,
    /// The entry.
    pub entry: Entry,
}

/// A page of a farm's feed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Page {
    /// The entries, positions without gaps.
    pub entries: Vec<Positioned>,
    /// Whether more stand behind.
    pub more: More,
}

/// Whether more stand behind a page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum More {
    /// Ask again after the last one.
    Behind,
    /// That was the end.
    NoMore,
}

/// What the server holds of the farm's ledger.
pub fn summary(tx: &mut Tx<'_>, farm: FarmId, now: DateTime<Utc>) -> Result<Summary, StoreError> {
    let found: Option<(i64, String)> = farms::table
        .find(farm.to_string())
        .select((farms::newest_position, farms::network))
        .first(tx.connection)
        .optional()?;
    let (newest, network) = found.ok_or(Missing::Farm)?;
    let position = Position(unsigned(newest)?);
    let heads = heads(tx, farm)?;
    // Chains and positions have no gaps, so both count the farm's entries.
    if heads.values().map(|head| head.seq.get()).sum::<u64>() != position.0 {
        return Err(StoreError::corrupt(format!(
            "the chains of farm {farm} do not end at position {}",
            position.0
        )));
    }
    let promised = mark(&promised_by_lot(tx, farm, now)?);
    let market = market::mark(tx, read(&network)?, today(now)?)?;
    let network = network_summaries::mark(tx, farm)?;
    Ok(Summary { position, heads, promised, market, network })
}

/// A number that differs where what is promised does.
fn mark(promised: &BTreeMap<LotId, Count>) -> u64 {
    let mut hasher = Sha256::new();
    for (lot, count) in promised {
        hasher.update(lot.uuid().as_bytes());
        hasher.update(i64::from(*count).to_be_bytes());
    }
    mark_of(hasher)
}

/// The end of every device's chain. Goes from device to device by the index, so that a long ledger
/// costs no more than a short one.
pub(crate) fn heads(tx: &mut Tx<'_>, farm: FarmId) -> Result<Heads, StoreError> {
    let mut heads = Heads::new();
    let mut last = String::new();
    while let Some(device) = next_device(tx, farm, &last)? {
        let (seq, hash): (i64, String) = entries::table
            .filter(entries::farm.eq(farm.to_string()))
            .filter(entries::device.eq(&device))
            .order(entries::seq.desc())
            .select((entries::seq, entries::hash))
            .first(tx.connection)?;
        heads.insert(read::<DeviceId>(&device)?, Head { seq: place(seq)?, hash: read(&hash)? });
        last = device;
    }
    Ok(heads)
}

fn next_device(tx: &mut Tx<'_>, farm: FarmId, last: &str) -> Result<Option<String>, StoreError> {
    Ok(entries::table
        .filter(entries::farm.eq(farm.to_string()))
        .filter(entries::device.gt(last))
        .order(entries::device)
        .select(entries::device)
        .first(tx.connection)
        .optional()?)
}

fn place(seq: i64) -> Result<Seq, StoreError> {
    Seq::new(unsigned(seq)?).ok_or_else(|| StoreError::corrupt("an entry at place 0"))
}

/// The position and hash of the farm's newest entry, if there is any. The farm's row says where it
/// stands, so that an index that lost its last entries is noticed.
pub(crate) fn newest(tx: &mut Tx<'_>, farm: FarmId) -> Result<Option<(i64, String)>, StoreError> {
    let noted: Option<i64> = farms::table
        .find(farm.to_string())
        .select(farms::newest_position)
        .first(tx.connection)
        .optional()?;
    let Some(position) = noted.filter(|position| *position > 0) else { return Ok(None) };
    let hash: Option<String> = entries::table
        .find((farm.to_string(), position))
        .select(entries::hash)
        .first(tx.connection)
        .optional()?;
    let hash = hash.ok_or_else(|| missing(position))?;
    Ok(Some((position, hash)))
}

fn missing(position: impl std::fmt::Display) -> StoreError {
    StoreError::corrupt(format!("nothing stands at position {position}"))
}

/// The farm's entries after a position, in order, as many as both limits allow.
pub fn page(
    tx: &mut Tx<'_>,
    farm: FarmId,
    after: Position,
    limits: BatchLimits,
) -> Result<Page, StoreError> {
    // A position beyond any ledger has nothing behind it.
    let mut after = i64::try_from(after.0).unwrap_or(i64::MAX);
    if planted::is(Bug::PageSkipsAtBorder) && after > 0 {
        after += 1;
    }
    let most = i64::try_from(limits.entries.max(1)).unwrap_or(i64::MAX - 1);
    let rows: Vec<EntryRow> = entries::table
        .filter(entries::farm.eq(farm.to_string()))
        .filter(entries::position.gt(after))
        .order(entries::position)
        .limit(most + 1)
        .select(COLUMNS)
        .load(tx.connection)?;
    let found = rows.len();
    let mut entries: Vec<Positioned> =
        rows.into_iter().map(EntryRow::positioned).collect::<Result<_, _>>()?;
    entries.truncate(limits.fit(entries.iter().map(|one| one.entry.size())));
    let more = if entries.len() < found { More::Behind } else { More::NoMore };
    for (one, expected) in entries.iter().zip(after.saturating_add(1).unsigned_abs()..) {
        if one.position.0 != expected {
            return Err(missing(expected));
        }
    }
    let last = entries.last().map_or(after.unsigned_abs(), |one| one.position.0);
    let newest = newest(tx, farm)?.map_or(0, |(position, _)| position.unsigned_abs());
    if more == More::NoMore && last < newest {
        return Err(missing(last + 1));
    }
    Ok(Page { entries, more })
}

/// The farm's whole ledger, in order of position.
pub fn all_entries(tx: &mut Tx<'_>, farm: FarmId) -> Result<Vec<Entry>, StoreError> {
    entries_up_to(tx, farm, i64::MAX)
}

pub(crate) fn entries_up_to(
    tx: &mut Tx<'_>,
    farm: FarmId,
    position: i64,
) -> Result<Vec<Entry>, StoreError> {
    let rows: Vec<EntryRow> = entries::table
        .filter(entries::farm.eq(farm.to_string()))
        .filter(entries::position.le(position))
        .order(entries::position)
        .select(COLUMNS)
        .load(tx.connection)?;
    let mut entries = Vec::with_capacity(rows.len());
    let mut ends = Heads::new();
    for (row, expected) in rows.into_iter().zip(1..) {
        let Positioned { position, entry, .. } = row.positioned()?;
        // Numbers come from here, so every entry is what was sealed, and none is missing.
        entry.verify().map_err(StoreError::corrupt)?;
        if position != Position(expected) {
            return Err(missing(expected));
        }
        follow_chain(&mut ends, &entry)?;
        entries.push(entry);
    }
    let newest = newest(tx, farm)?.map_or(0, |(newest, _)| newest);
    if i64::try_from(entries.len()).unwrap_or(i64::MAX) < newest.min(position) {
        return Err(missing(entries.len() + 1));
    }
    Ok(entries)
}

/// Each entry follows the one before it in its device's chain. An index that leads to another row would
/// else give one entry twice and another not at all, each of them sound.
fn follow_chain(ends: &mut Heads, entry: &Entry) -> Result<(), StoreError> {
    let follows = match ends.get(&entry.device) {
        Some(end) => entry.seq == end.seq.next() && entry.prev == end.hash,
        None => entry.seq == Seq::FIRST && entry.prev == Hash::START,
    };
    if !follows {
        let (device, seq) = (entry.device, entry.seq.get());
        return Err(StoreError::corrupt(format!(
            "entry {seq} of device {device} does not follow the one before it"
        )));
    }
    ends.insert(entry.device, Head { seq: entry.seq, hash: entry.hash });
    Ok(())
}

/// The farm's entries of later days than one, up to a position.
pub(crate) fn entries_after_day(
    tx: &mut Tx<'_>,
    farm: FarmId,
    day: Day,
    position: i64,
) -> Result<Vec<Entry>, StoreError> {
    let rows: Vec<EntryRow> = entries::table
        .filter(entries::farm.eq(farm.to_string()))
        .filter(entries::on_day.gt(day.to_string()))
        .filter(entries::position.le(position))
        .order(entries::on_day)
        .select(COLUMNS)
        .load(tx.connection)?;
    rows.into_iter().map(|row| Ok(row.positioned()?.entry)).collect()
}

/// The farm's row, locked until the transaction ends.
pub(crate) struct LockedFarm {
    pub(crate) farm: FarmId,
    pub(crate) house_device: DeviceId,
    newest_position: i64,
}

/// Locks the farm's row by writing it: entries and offers of one farm are made one after another.
pub(crate) fn lock_farm(tx: &mut Tx<'_>, farm: FarmId) -> Result<LockedFarm, StoreError> {
    let row: Option<(i64, String)> = diesel::update(farms::table.find(farm.to_string()))
        .set(farms::newest_position.eq(farms::newest_position))
        .returning((farms::newest_position, farms::house_device))
        .get_result(tx.connection)
        .optional()?;
    let (newest_position, house_device) = row.ok_or(Missing::Farm)?;
    Ok(LockedFarm { farm, house_device: read(&house_device)?, newest_position })
}
