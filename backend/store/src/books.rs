//! The farms' stock books, folded from their ledgers and kept while nothing was added.
//!
//! When something was, the fold goes on from a snapshot kept in memory, if one still fits what the
//! database holds in the same transaction: replicas that share a database need not know of one
//! another. What may not enter: what makes a snapshot fit (`domain` says that).

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

use diesel::sql_types::{BigInt, Text};
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, RunQueryDsl};
use spareloop_domain::ledger::sync::Heads;
use spareloop_domain::ledger::{Book, Entry, Folding, Hash, Kept, Seq, Snapshot};
use spareloop_domain::words::{Day, DeviceId, EntryId, FarmId};

use crate::schema::entries;
use crate::text::read;
use crate::{StoreError, Tx, ledger};

/// Most entries whose books are kept, each snapshot counting as a book more; those not asked for
/// longest go first. A book takes about as much memory as its entries do on disk, a kilobyte each
/// at most.
const MOST_ENTRIES: u64 = 1_000_000;
/// Entries read behind a snapshot that make it worth taking newer ones.
const MANY: usize = 512;
/// Snapshots kept of a farm: the newest ones, which bear what devices bring late.
const SNAPSHOTS: usize = 3;

/// A farm's ledger up to its newest entry. The hash is part of it because a restored server may
/// reach the same position with other entries.
#[derive(Debug, Clone, PartialEq, Eq)]
struct UpTo {
    farm: FarmId,
    position: i64,
    hash: String,
}

/// What is known of a farm's book.
#[derive(Debug, Clone)]
struct Known {
    up_to: UpTo,
    book: Arc<Book>,
    /// Newest first.
    snapshots: Vec<Arc<Snapshot>>,
}

impl Known {
    fn weight(&self) -> u64 {
        self.up_to.position.unsigned_abs() * (1 + self.snapshots.len() as u64)
    }
}

/// Books that were folded lately.
#[derive(Debug, Default)]
pub(crate) struct Books(Mutex<VecDeque<Known>>);

impl Books {
    fn get(&self, farm: FarmId) -> Option<Known> {
        let mut books = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let at = books.iter().position(|known| known.up_to.farm == farm)?;
        let found = books.remove(at)?;
        books.push_back(found.clone());
        Some(found)
    }

    fn keep(&self, known: Known) {
        let mut books = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        books.retain(|other| other.up_to.farm != known.up_to.farm);
        books.push_back(known);
        let mut weight: u64 = books.iter().map(Known::weight).sum();
        // The one that was just asked for stays, however long it is.
        while weight > MOST_ENTRIES && books.len() > 1 {
            weight -= books.pop_front().map_or(0, |gone| gone.weight());
        }
    }
}

#[derive(diesel::QueryableByName)]
struct There {
    #[diesel(sql_type = BigInt)]
    #[allow(dead_code, reason = "that there is a row is the answer")]
    position: i64,
}

/// A farm's ledger up to a position, as this transaction sees it.
struct InTx<'a, 'tx> {
    tx: &'a mut Tx<'tx>,
    farm: FarmId,
    position: i64,
}

/// Entries of the farm up to the position, as a query to go on with.
macro_rules! entries_of {
    ($this:expr) => {
        entries::table
            .filter(entries::farm.eq($this.farm.to_string()))
            .filter(entries::position.le($this.position))
    };
}

impl Kept for InTx<'_, '_> {
    type Error = StoreError;

    fn hash_at(&mut self, device: DeviceId, seq: Seq) -> Result<Option<Hash>, StoreError> {
        let hash: Option<String> = entries_of!(self)
            .filter(entries::device.eq(device.to_string()))
            .filter(entries::seq.eq(i64::try_from(seq.get()).map_err(StoreError::broken)?))
            .select(entries::hash)
            .first(self.tx.connection)
            .optional()?;
        hash.map(|hash| read(&hash)).transpose()
    }

    fn has_late(&mut self, heads: &Heads, until: Day) -> Result<bool, StoreError> {
        for device in ledger::heads(self.tx, self.farm)?.into_keys() {
            let covered = heads.get(&device).map_or(0, |head| head.seq.get());
            let late: Option<i64> = entries_of!(self)
                .filter(entries::device.eq(device.to_string()))
                .filter(entries::seq.gt(i64::try_from(covered).map_err(StoreError::broken)?))
                .filter(entries::on_day.le(until.to_string()))
                .select(entries::position)
                .first(self.tx.connection)
                .optional()?;
            if late.is_some() {
                return Ok(true);
            }
        }
        Ok(false)
    }

    fn has_twins(&mut self, until: Day) -> Result<bool, StoreError> {
        // The few later ones are gone through, each looked up by its id.
        let twin: Option<There> = diesel::sql_query(
            "SELECT later.position FROM entries AS later CROSS JOIN entries AS earlier \
             WHERE later.farm = $1 AND later.on_day > $2 AND later.position <= $3 \
             AND earlier.farm = later.farm AND earlier.id = later.id \
             AND earlier.on_day <= $2 AND earlier.position <= $3 LIMIT 1",
        )
        .bind::<Text, _>(self.farm.to_string())
        .bind::<Text, _>(until.to_string())
        .bind::<BigInt, _>(self.position)
        .get_result(self.tx.connection)
        .optional()?;
        Ok(twin.is_some())
    }

    fn stands_until(&mut self, id: EntryId, until: Day) -> Result<bool, StoreError> {
        let there: Option<i64> = entries_of!(self)
            .filter(entries::id.eq(id.to_string()))
            .filter(entries::on_day.le(until.to_string()))
            .select(entries::position)
            .first(self.tx.connection)
            .optional()?;
        Ok(there.is_some())
    }

    fn after(&mut self, day: Day) -> Result<Vec<Entry>, StoreError> {
        ledger::entries_after_day(self.tx, self.farm, day, self.position)
    }
}

/// The farm's stock book as of this transaction.
pub fn farm_book(tx: &mut Tx<'_>, farm: FarmId) -> Result<Arc<Book>, StoreError> {
    let Some((position, hash)) = ledger::newest(tx, farm)? else {
        return Ok(Arc::default());
    };
    let up_to = UpTo { farm, position, hash };
    // Entries of a transaction under way may be rolled back and their positions given to others.
    let committed = tx.ledger.is_committed(farm);
    let known = tx.books.get(farm);
    if let Some(known) = known.as_ref().filter(|known| committed && known.up_to == up_to) {
        return Ok(Arc::clone(&known.book));
    }
    let mut snapshots = known.map(|known| known.snapshots).unwrap_or_default();
    let mut folding = go_on(tx, farm, position, &mut snapshots)?;
    if committed && folding.tail() > MANY {
        for day in folding.pauses() {
            snapshots.extend(folding.pause_after(day).map(Arc::new));
        }
        snapshots.sort_by_key(|taken| std::cmp::Reverse(taken.cover().until));
        snapshots.truncate(SNAPSHOTS);
    }
    let book = Arc::new(folding.finish().into_book());
    if committed {
        tx.books.keep(Known { up_to, book: Arc::clone(&book), snapshots });
    }
    Ok(book)
}

/// A fold from the newest snapshot that fits; those that don't are dropped from the list.
fn go_on(
    tx: &mut Tx<'_>,
    farm: FarmId,
    position: i64,
    snapshots: &mut Vec<Arc<Snapshot>>,
) -> Result<Folding, StoreError> {
    while let Some(newest) = snapshots.first().cloned() {
        let mut kept = InTx { tx, farm, position };
        if newest.cover().fits(&mut kept)?
            && let Some(folding) = Folding::from_snapshot(Snapshot::clone(&newest), &mut kept)?
        {
            return Ok(folding);
        }
        snapshots.remove(0);
    }
    Ok(Folding::from_nothing(&ledger::entries_up_to(tx, farm, position)?))
}
