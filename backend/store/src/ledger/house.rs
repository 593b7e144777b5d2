//! What the server itself writes into a farm's ledger, on the farm's house device.

use chrono::{DateTime, NaiveDateTime, Utc};
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, RunQueryDsl};
use spareloop_domain::ledger::{Clock, Draft, Entry, Hash, Seq, Stamp};
use spareloop_domain::words::FarmId;

use super::{LockedFarm, lock_farm, place};
use crate::schema::entries;
use crate::text::{read, unsigned};
use crate::{StoreError, Tx, fresh};

/// How far ahead of the server's clock a stamp may lie and still move it, as `domain` has it.
const DAY_MILLIS: u64 = 24 * 60 * 60 * 1000;
/// How many stamps are looked at together; nearly always the first one holds.
const AT_ONCE: i64 = 32;

/// Writes drafts into the farm's ledger, in order, and cuts the promises that the stock no longer
/// bears. The rules at the door (`check_draft`) are the caller's to ask. The drafts' ids give way to
/// those that seal the entries; what is answered bears them.
pub fn append_house(
    tx: &mut Tx<'_>,
    farm: FarmId,
    drafts: Vec<Draft>,
    now: DateTime<Utc>,
) -> Result<Vec<Entry>, StoreError> {
    let written = write_house(tx, farm, drafts, now)?;
    crate::promises::settle(tx, farm, now)?;
    Ok(written)
}

/// Writes drafts without looking at promises; the caller does so once its own rows are right.
pub(crate) fn write_house(
    tx: &mut Tx<'_>,
    farm: FarmId,
    drafts: Vec<Draft>,
    now: DateTime<Utc>,
) -> Result<Vec<Entry>, StoreError> {
    let mut locked = lock_farm(tx, farm)?;
    let seal = tx.seal()?;
    let mut end = End::of_house(tx, &locked, now)?;
    let mut written = Vec::with_capacity(drafts.len());
    for draft in drafts {
        let at = end.clock.tick(fresh::millis(now));
        let entry = Entry::seal(draft, farm, locked.house_device, end.next, at, end.hash)
            .and_then(|unsealed| seal.put_on(unsealed))
            .map_err(StoreError::broken)?;
        locked.add(tx, &entry, now)?;
        end.next = entry.seq.next();
        end.hash = entry.hash;
        written.push(entry);
    }
    locked.keep_position(tx)?;
    Ok(written)
}

/// Where the house device's chain goes on.
struct End {
    next: Seq,
    hash: Hash,
    clock: Clock,
}

impl End {
    fn of_house(
        tx: &mut Tx<'_>,
        locked: &LockedFarm,
        now: DateTime<Utc>,
    ) -> Result<Self, StoreError> {
        let head: Option<(i64, String, i64, i64)> = entries::table
            .filter(entries::farm.eq(locked.farm.to_string()))
            .filter(entries::device.eq(locked.house_device.to_string()))
            .order(entries::seq.desc())
            .select((entries::seq, entries::hash, entries::at_millis, entries::at_counter))
            .first(tx.connection)
            .optional()?;
        let mut end = match head {
            None => Self { next: Seq::FIRST, hash: Hash::START, clock: Clock::default() },
            Some((seq, hash, millis, counter)) => Self {
                next: place(seq)?.next(),
                hash: read(&hash)?,
                clock: Clock::resume(stamp(millis, counter)?),
            },
        };
        if let Some(newest) = newest_trusted_stamp(tx, locked.farm, now)? {
            end.clock.observe(newest, fresh::millis(now));
        }
        Ok(end)
    }
}

/// The newest stamp in the farm's ledger that wasn't more than a day ahead when it was stored: what
/// the server writes sorts after everything it has seen, and a clock set wrong by years moves nobody
/// else's, neither then nor when its time has come.
fn newest_trusted_stamp(
    tx: &mut Tx<'_>,
    farm: FarmId,
    now: DateTime<Utc>,
) -> Result<Option<Stamp>, StoreError> {
    let trusted = i64::try_from(fresh::millis(now) + DAY_MILLIS).unwrap_or(i64::MAX);
    let mut passed_over = 0;
    loop {
        let newest: Vec<(i64, i64, NaiveDateTime)> = entries::table
            .filter(entries::farm.eq(farm.to_string()))
            .filter(entries::at_millis.le(trusted))
            .order((entries::at_millis.desc(), entries::at_counter.desc()))
            .select((entries::at_millis, entries::at_counter, entries::stored_at))
            .offset(passed_over)
            .limit(AT_ONCE)
            .load(tx.connection)?;
        if newest.is_empty() {
            return Ok(None);
        }
        for (millis, counter, stored_at) in newest {
            let stamp = stamp(millis, counter)?;
            if !stamp.is_far_ahead_of(fresh::millis(stored_at.and_utc())) {
                return Ok(Some(stamp));
            }
        }
        passed_over += AT_ONCE;
    }
}

fn stamp(millis: i64, counter: i64) -> Result<Stamp, StoreError> {
    let counter = u32::try_from(counter).map_err(StoreError::corrupt)?;
    Ok(Stamp { millis: unsigned(millis)?, counter })
}
