//! What was undone here and may come back, and what one act noted together.
//!
//! What may not enter: what undo and redo mean (`domain` says).

use diesel::dsl::max;
use diesel::prelude::*;
use diesel::sqlite::SqliteConnection;
use spareloop_domain::ledger::{Entry, Hash, Seq};
use spareloop_domain::words::DeviceId;

use super::BookError;
use super::farm::odd;
use super::schema::{batches, withdrawn};

/// Entries that one act noted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Batch {
    /// Its number here.
    pub number: i64,
    /// The device that noted them.
    pub device: DeviceId,
    /// The first one's place.
    pub first: Seq,
    /// The last one's place.
    pub last: Seq,
    /// What the act was, as "import of autumn.csv".
    pub said: String,
}

/// An entry that was withdrawn.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Withdrawn {
    /// Its number here.
    pub number: i64,
    /// What the chain ended with once it was gone.
    pub behind: Hash,
    /// As it stood in the chain.
    pub entry: Entry,
    /// Whether it was withdrawn together with others.
    pub batch: Option<i64>,
}

fn seq(number: i64) -> Result<Seq, BookError> {
    let number = u64::try_from(number).map_err(odd)?;
    Seq::new(number).ok_or_else(|| odd("a place below 1"))
}

fn number(seq: Seq) -> Result<i64, BookError> {
    i64::try_from(seq.get()).map_err(odd)
}

impl Batch {
    /// Whether an entry is one of it.
    pub fn holds(&self, entry: &Entry) -> bool {
        entry.device == self.device && (self.first..=self.last).contains(&entry.seq)
    }
}

/// Remembers that these entries of one device were noted by one act.
pub fn together(
    connection: &mut SqliteConnection,
    noted: &[Entry],
    said: &str,
) -> Result<(), BookError> {
    let (Some(first), Some(last)) = (noted.first(), noted.last()) else { return Ok(()) };
    diesel::insert_into(batches::table)
        .values((
            batches::device.eq(first.device.to_string()),
            batches::first_seq.eq(number(first.seq)?),
            batches::last_seq.eq(number(last.seq)?),
            batches::said.eq(said),
        ))
        .execute(connection)?;
    Ok(())
}

/// What this device noted together, oldest first.
pub fn batches_of(
    connection: &mut SqliteConnection,
    device: DeviceId,
) -> Result<Vec<Batch>, BookError> {
    let rows: Vec<(i64, i64, i64, String)> = batches::table
        .filter(batches::device.eq(device.to_string()))
        .order(batches::number)
        .select((batches::number, batches::first_seq, batches::last_seq, batches::said))
        .load(connection)?;
    rows.into_iter()
        .map(|(number, first, last, said)| {
            Ok(Batch { number, device, first: seq(first)?, last: seq(last)?, said })
        })
        .collect()
}

/// The places from `seq` on are free again: what was noted together ends before them.
pub fn cut_batches(
    connection: &mut SqliteConnection,
    device: DeviceId,
    seq: Seq,
) -> Result<(), BookError> {
    let of_device = || batches::table.filter(batches::device.eq(device.to_string()));
    diesel::delete(of_device().filter(batches::first_seq.ge(number(seq)?))).execute(connection)?;
    diesel::update(of_device().filter(batches::last_seq.ge(number(seq)?)))
        .set(batches::last_seq.eq(number(seq)? - 1))
        .execute(connection)?;
    Ok(())
}

/// A number under which several entries are withdrawn.
pub fn next_together(connection: &mut SqliteConnection) -> Result<i64, BookError> {
    let last: Option<i64> = withdrawn::table.select(max(withdrawn::number)).first(connection)?;
    Ok(last.unwrap_or(0) + 1)
}

/// Keeps an entry that was just withdrawn. What was withdrawn from the same place before can't
/// come back any more: something else was noted there since.
pub fn keep(
    connection: &mut SqliteConnection,
    entry: &Entry,
    batch: Option<i64>,
) -> Result<(), BookError> {
    let behind = entry.prev.to_string();
    diesel::delete(withdrawn::table.filter(withdrawn::behind.eq(&behind))).execute(connection)?;
    diesel::insert_into(withdrawn::table)
        .values((
            withdrawn::behind.eq(behind),
            withdrawn::entry.eq(serde_json::to_string(entry).map_err(odd)?),
            withdrawn::batch.eq(batch),
        ))
        .execute(connection)?;
    Ok(())
}

/// What was withdrawn and not brought back, oldest first. Each is held against its hash.
pub fn all(connection: &mut SqliteConnection) -> Result<Vec<Withdrawn>, BookError> {
    let rows: Vec<(i64, String, String, Option<i64>)> = withdrawn::table
        .order(withdrawn::number)
        .select((withdrawn::number, withdrawn::behind, withdrawn::entry, withdrawn::batch))
        .load(connection)?;
    rows.into_iter()
        .map(|(number, behind, entry, batch)| {
            let entry: Entry = serde_json::from_str(&entry).map_err(odd)?;
            entry.verify()?;
            Ok(Withdrawn { number, behind: behind.parse().map_err(odd)?, entry, batch })
        })
        .collect()
}

/// The entry was noted again as `again`: what was withdrawn behind it stands behind that now.
pub fn brought_back(
    connection: &mut SqliteConnection,
    it: &Withdrawn,
    again: &Entry,
) -> Result<(), BookError> {
    diesel::delete(withdrawn::table.find(it.number)).execute(connection)?;
    diesel::update(withdrawn::table.filter(withdrawn::behind.eq(it.entry.hash.to_string())))
        .set(withdrawn::behind.eq(again.hash.to_string()))
        .execute(connection)?;
    Ok(())
}
