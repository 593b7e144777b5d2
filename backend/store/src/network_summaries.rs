//! What each farm is told of what the others of its network saw, and what is believed of its lots with it.
//!
//! The rows are made of the ledgers by a job and read by whoever forecasts. A farm is told of all farms
//! but itself: its own looks are taken in on its own side. What may not enter: the fit and what it may
//! show (`domain` says that).

use std::collections::HashMap;
use std::fmt::Write as _;
use std::sync::{Arc, Mutex, PoisonError, Weak};

use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use diesel::sql_types::{BigInt, Nullable, Text, Timestamp};
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, RunQueryDsl, sql_query};
use sha2::{Digest, Sha256};
use spareloop_domain::belief::{Beliefs, LEAST_FARMS, NetworkSummary, Records};
use spareloop_domain::ledger::Book;
use spareloop_domain::words::{FarmId, NetworkId};

use crate::schema::{farms, network_summaries, networks};
use crate::text::{moment, read, unsigned};
use crate::{StoreError, Tx, farm_book};

/// When the farms' records are taken together anew.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Timetable {
    /// So long after the last time, if anything was noted since.
    pub every: TimeDelta,
    /// Or once so many entries were noted since.
    pub entries: u64,
}

/// What a farm is told.
#[derive(Debug, Clone, PartialEq)]
pub struct Told {
    /// Differs where the summary does.
    pub mark: String,
    /// What the others saw.
    pub summary: NetworkSummary,
}

/// The records of a network's farms, and how many entries they were read from.
#[derive(Debug, Clone)]
pub struct NetworkRecords {
    /// Each farm's.
    pub farms: Vec<(FarmId, Records)>,
    /// Entries of all of them.
    pub entries: u64,
}

/// The networks whose farms' records are to be taken together now.
pub fn due(
    tx: &mut Tx<'_>,
    timetable: Timetable,
    now: DateTime<Utc>,
) -> Result<Vec<NetworkId>, StoreError> {
    let all: Vec<(String, NaiveDateTime)> = networks::table
        .order(networks::id)
        .select((networks::id, networks::made_at))
        .load(tx.connection)?;
    let mut due = Vec::new();
    for (id, begun) in all {
        let (farms, noted) = noted(tx, &id)?;
        if farms <= LEAST_FARMS as usize {
            // Nobody can be told anything.
            continue;
        }
        let last: Option<(NaiveDateTime, i64)> = network_summaries::table
            .filter(network_summaries::network.eq(&id))
            .order(network_summaries::made_at.desc())
            .select((network_summaries::made_at, network_summaries::entries))
            .first(tx.connection)
            .optional()?;
        let (since, entries) = last.unwrap_or((begun, 0));
        let more = noted.abs_diff(unsigned(entries)?);
        let long_ago = now - since.and_utc() >= timetable.every;
        if more >= timetable.entries.max(1) || more > 0 && long_ago {
            due.push(read(&id)?);
        }
    }
    Ok(due)
}

/// Every network.
pub fn all_networks(tx: &mut Tx<'_>) -> Result<Vec<NetworkId>, StoreError> {
    let all: Vec<String> =
        networks::table.order(networks::id).select(networks::id).load(tx.connection)?;
    all.iter().map(|id| read(id)).collect()
}

/// How many farms a network has, and how many entries they have noted.
fn noted(tx: &mut Tx<'_>, network: &str) -> Result<(usize, u64), StoreError> {
    let newest: Vec<i64> = farms::table
        .filter(farms::network.eq(network))
        .select(farms::newest_position)
        .load(tx.connection)?;
    let entries = newest
        .iter()
        .try_fold(0_u64, |sum, one| Ok::<_, StoreError>(sum.saturating_add(unsigned(*one)?)))?;
    Ok((newest.len(), entries))
}

/// Reads a network's records.
pub fn records(tx: &mut Tx<'_>, network: NetworkId) -> Result<NetworkRecords, StoreError> {
    let (_, entries) = noted(tx, &network.to_string())?;
    let farms = crate::people::farms(tx, network)?;
    let farms = farms.into_iter().map(|farm| Ok((farm.id, Records::of(&*farm_book(tx, farm.id)?))));
    Ok(NetworkRecords { farms: farms.collect::<Result<_, StoreError>>()?, entries })
}

/// Keeps what the farms of a network are told.
pub fn put(
    tx: &mut Tx<'_>,
    network: NetworkId,
    told: &[(FarmId, Option<NetworkSummary>)],
    entries: u64,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let entries = i64::try_from(entries).map_err(StoreError::broken)?;
    for (farm, summary) in told {
        let text = summary.as_ref().map(NetworkSummary::text).transpose();
        let text = text.map_err(StoreError::broken)?;
        let mark = text.as_deref().map(mark_of);
        sql_query(
            "INSERT INTO network_summaries (farm, network, made_at, entries, summary, mark) \
             VALUES ($1, $2, $3, $4, $5, $6) ON CONFLICT (farm) DO UPDATE SET \
             network = excluded.network, made_at = excluded.made_at, entries = excluded.entries, \
             summary = excluded.summary, mark = excluded.mark",
        )
        .bind::<Text, _>(farm.to_string())
        .bind::<Text, _>(network.to_string())
        .bind::<Timestamp, _>(moment(now))
        .bind::<BigInt, _>(entries)
        .bind::<Nullable<Text>, _>(text)
        .bind::<Nullable<Text>, _>(mark)
        .execute(tx.connection)?;
    }
    Ok(())
}

fn mark_of(text: &str) -> String {
    let digest: [u8; 32] = Sha256::digest(text.as_bytes()).into();
    digest.iter().fold(String::with_capacity(64), |mut hex, byte| {
        // Writing into a string can't fail.
        let _ = write!(hex, "{byte:02x}");
        hex
    })
}

/// The mark of what a farm is told, if it is told anything.
pub fn mark(tx: &mut Tx<'_>, farm: FarmId) -> Result<Option<String>, StoreError> {
    let mark: Option<Option<String>> = network_summaries::table
        .find(farm.to_string())
        .select(network_summaries::mark)
        .first(tx.connection)
        .optional()?;
    Ok(mark.flatten())
}

/// What a farm is told, if anything.
pub fn told_to(tx: &mut Tx<'_>, farm: FarmId) -> Result<Option<Told>, StoreError> {
    type Row = (Option<String>, Option<String>);
    let row: Option<Row> = network_summaries::table
        .find(farm.to_string())
        .select((network_summaries::summary, network_summaries::mark))
        .first(tx.connection)
        .optional()?;
    let Some((Some(text), Some(mark))) = row else { return Ok(None) };
    if mark_of(&text) != mark {
        return Err(StoreError::corrupt(format!("what farm {farm} is told of the network")));
    }
    let summary = NetworkSummary::read(&text).map_err(StoreError::corrupt)?;
    Ok(Some(Told { mark, summary }))
}

/// Reads what every farm is told; damage is an error.
pub(crate) fn verify_all(tx: &mut Tx<'_>) -> Result<(), StoreError> {
    let farms: Vec<String> = network_summaries::table
        .order(network_summaries::farm)
        .select(network_summaries::farm)
        .load(tx.connection)?;
    farms.iter().try_for_each(|farm| told_to(tx, read(farm)?).map(drop))
}

/// Most farms whose beliefs are kept.
const MOST_KEPT: usize = 256;

/// Beliefs that were worked out lately.
#[derive(Debug, Default)]
pub(crate) struct KeptBeliefs(Mutex<HashMap<FarmId, Kept>>);

#[derive(Debug)]
struct Kept {
    book: Weak<Book>,
    mark: Option<String>,
    beliefs: Arc<Beliefs>,
}

/// What is believed of a farm's lots, as of this transaction: its own looks and what the network saw.
pub fn farm_beliefs(
    tx: &mut Tx<'_>,
    farm: FarmId,
    book: &Arc<Book>,
) -> Result<Arc<Beliefs>, StoreError> {
    let told = mark(tx, farm)?;
    {
        let kept = tx.beliefs.0.lock().unwrap_or_else(PoisonError::into_inner);
        let same =
            |kept: &&Kept| kept.mark == told && Weak::ptr_eq(&kept.book, &Arc::downgrade(book));
        if let Some(found) = kept.get(&farm).filter(same) {
            return Ok(Arc::clone(&found.beliefs));
        }
    }
    let summary = told_to(tx, farm)?.map(|told| told.summary);
    let beliefs = Arc::new(Beliefs::of(book, summary.as_ref()));
    let mut kept = tx.beliefs.0.lock().unwrap_or_else(PoisonError::into_inner);
    if kept.len() >= MOST_KEPT {
        kept.clear();
    }
    let worked_out = Kept { book: Arc::downgrade(book), mark: told, beliefs: Arc::clone(&beliefs) };
    kept.insert(farm, worked_out);
    Ok(beliefs)
}
