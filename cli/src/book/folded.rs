//! The folded book, gone on from a snapshot where one fits, so that a ledger of twenty seasons
//! opens like one of this winter.
//!
//! What is read is believed only after a check: a snapshot by its own sum and by the chains that it
//! covers, every entry behind it by its hash. A snapshot that doesn't fit, is damaged or was written
//! in another form is passed over without a word; then an older one serves, or the whole ledger is
//! folded. What may not enter: what makes a snapshot fit (`domain` says that).

use diesel::connection::SimpleConnection;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Text};
use diesel::sqlite::SqliteConnection;
use spareloop_domain::ledger::sync::Heads;
use spareloop_domain::ledger::{
    Cover, Entry, Folded, Folding, Hash, Kept, Sealed, Seq, Snapshot, superseded,
};
use spareloop_domain::words::{Day, DeviceId, EntryId};

use super::farm::odd;
use super::schema::{entries as table, snapshots};
use super::{BookError, StockBook, chains, entries};

/// Entries read behind a snapshot that make it worth taking a newer one.
const MANY: usize = 512;

#[derive(QueryableByName)]
struct There {
    #[diesel(sql_type = BigInt)]
    #[allow(dead_code, reason = "that there is a row is the answer")]
    seq: i64,
}

/// The ledger in the file, as a snapshot is held against it.
struct InFile<'a>(&'a mut SqliteConnection);

impl Kept for InFile<'_> {
    type Error = BookError;

    fn hash_at(&mut self, device: DeviceId, seq: Seq) -> Result<Option<Hash>, BookError> {
        entries::hash_at(self.0, device, seq)
    }

    fn has_late(&mut self, heads: &Heads, until: Day) -> Result<bool, BookError> {
        for device in entries::heads(self.0)?.into_keys() {
            let covered = heads.get(&device).map_or(0, |head| head.seq.get());
            let late: Option<i64> = table::table
                .filter(table::device.eq(device.to_string()))
                .filter(table::seq.gt(i64::try_from(covered).map_err(odd)?))
                .filter(table::on_day.le(until.to_string()))
                .select(table::seq)
                .first(self.0)
                .optional()?;
            if late.is_some() {
                return Ok(true);
            }
        }
        Ok(false)
    }

    fn has_twins(&mut self, until: Day) -> Result<bool, BookError> {
        // The few later ones are gone through, each looked up by its id: the plus keeps SQLite from
        // going through the many earlier ones by their day instead.
        let twin: Option<There> = diesel::sql_query(
            "SELECT later.seq FROM entries AS later CROSS JOIN entries AS earlier \
             WHERE later.on_day > $1 AND earlier.id = later.id AND +earlier.on_day <= $1 LIMIT 1",
        )
        .bind::<Text, _>(until.to_string())
        .get_result(self.0)
        .optional()?;
        Ok(twin.is_some())
    }

    fn stands_until(&mut self, id: EntryId, until: Day) -> Result<bool, BookError> {
        let there: Option<i64> = table::table
            .filter(table::id.eq(id.to_string()))
            .filter(table::on_day.le(until.to_string()))
            .select(table::seq)
            .first(self.0)
            .optional()?;
        Ok(there.is_some())
    }

    fn after(&mut self, day: Day) -> Result<Vec<Entry>, BookError> {
        entries::after_day(self.0, day)
    }
}

/// Whether the ends of all chains stand where they were written. What is missing before an end is
/// missed by its number.
fn ends_stand(connection: &mut SqliteConnection) -> Result<bool, BookError> {
    for (device, chain) in chains::all(connection)? {
        if entries::hash_at(connection, device, chain.last)? != Some(chain.hash) {
            return Ok(false);
        }
    }
    Ok(true)
}

/// A fold of the whole ledger that has taken in nothing later than `until`, if that is said.
fn folding(connection: &mut SqliteConnection, until: Option<Day>) -> Result<Folding, BookError> {
    let there: u64 = chains::all(connection)?.values().map(|chain| chain.entries).sum();
    let mut covers: Vec<(String, i32, Vec<u8>)> = snapshots::table
        .order(snapshots::until_day.desc())
        .select((snapshots::until_day, snapshots::format, snapshots::cover))
        .load(connection)?;
    if !ends_stand(connection)? {
        // Reading all of it says what is wrong.
        covers.clear();
    }
    covers.retain(|(day, ..)| until.is_none_or(|until| *day <= until.to_string()));
    for (day, format, cover) in covers {
        let fits = match Cover::read(u32::try_from(format).unwrap_or(0), &cover) {
            Ok(cover) => cover.fits(&mut InFile(connection))?,
            Err(_) => false,
        };
        let snapshot = if fits { read(connection, &day)? } else { None };
        if let Some(snapshot) = snapshot
            && let Some(folding) = Folding::from_snapshot(snapshot, &mut InFile(connection))?
            && folding.entries() == there
        {
            return Ok(folding);
        }
    }
    Ok(Folding::from_nothing(&entries::all(connection)?))
}

fn read(connection: &mut SqliteConnection, day: &str) -> Result<Option<Snapshot>, BookError> {
    // Format, cover, state, sum.
    type Row = (i32, Vec<u8>, Vec<u8>, Vec<u8>);
    let row: Option<Row> = snapshots::table
        .find(day)
        .select((snapshots::format, snapshots::cover, snapshots::state, snapshots::sum))
        .first(connection)
        .optional()?;
    Ok(row.and_then(|(format, cover, state, sum)| {
        let format = u32::try_from(format).ok()?;
        Snapshot::open(&Sealed { format, cover, state, sum }).ok()
    }))
}

/// The whole ledger, folded; and snapshots worth keeping, where much had to be read.
fn fold_taking(folding: Folding) -> (Folded, Vec<Snapshot>) {
    let mut folding = folding;
    let mut taken = Vec::new();
    if folding.tail() > MANY {
        for day in folding.pauses() {
            taken.extend(folding.pause_after(day));
        }
    }
    (folding.finish(), taken)
}

/// The book as of this transaction.
pub fn now(connection: &mut SqliteConnection) -> Result<Folded, BookError> {
    Ok(folding(connection, None)?.finish())
}

/// The same, keeping snapshots on the way where much had to be read, in a transaction that writes.
pub fn now_keeping(connection: &mut SqliteConnection) -> Result<Folded, BookError> {
    let (folded, taken) = fold_taking(folding(connection, None)?);
    keep(connection, taken)?;
    Ok(folded)
}

/// The book as it stood at the end of a day, with today's strike-outs.
pub fn until(
    connection: &mut SqliteConnection,
    day: Day,
) -> Result<spareloop_domain::ledger::Book, BookError> {
    Ok(folding(connection, Some(day))?.into_book_until(day))
}

/// Keeps snapshots in place of those of their days, and throws away what they make needless.
fn keep(connection: &mut SqliteConnection, taken: Vec<Snapshot>) -> Result<(), BookError> {
    if taken.is_empty() {
        return Ok(());
    }
    for snapshot in taken {
        let (day, covered) = (snapshot.cover().until, snapshot.cover().entries);
        let sealed = snapshot.seal().map_err(odd)?;
        diesel::replace_into(snapshots::table)
            .values((
                snapshots::until_day.eq(day.to_string()),
                snapshots::entries.eq(i64::try_from(covered).map_err(odd)?),
                snapshots::format.eq(i32::try_from(sealed.format).map_err(odd)?),
                snapshots::cover.eq(sealed.cover),
                snapshots::state.eq(sealed.state),
                snapshots::sum.eq(sealed.sum),
            ))
            .execute(connection)?;
    }
    let rows: Vec<(String, i64)> =
        snapshots::table.select((snapshots::until_day, snapshots::entries)).load(connection)?;
    let covers: Vec<(Day, u64)> = rows
        .into_iter()
        .filter_map(|(day, covered)| Some((day.parse().ok()?, covered.unsigned_abs())))
        .collect();
    let all = entries::count(connection)?;
    for day in superseded(&covers, all) {
        diesel::delete(snapshots::table.find(day.to_string())).execute(connection)?;
    }
    Ok(())
}

impl StockBook {
    /// The book as it is, with what else `more` reads at the same moment.
    ///
    /// Snapshots that were worth taking are kept if nobody else writes and the file may be written;
    /// else the next command takes them.
    pub fn folded<T>(
        &mut self,
        more: impl FnOnce(&mut SqliteConnection) -> Result<T, BookError>,
    ) -> Result<(Folded, T), BookError> {
        let (folded, taken, more) = self.read(|connection| {
            let (folded, taken) = fold_taking(folding(connection, None)?);
            Ok::<_, BookError>((folded, taken, more(connection)?))
        })?;
        if !taken.is_empty() {
            let _ = self.keep_unless_busy(taken);
        }
        Ok((folded, more))
    }

    fn keep_unless_busy(&mut self, taken: Vec<Snapshot>) -> Result<(), BookError> {
        let waits = self.wait().as_millis();
        self.connection.batch_execute("PRAGMA busy_timeout = 0;")?;
        let kept = self.connection.immediate_transaction(|connection| keep(connection, taken));
        self.connection.batch_execute(&format!("PRAGMA busy_timeout = {waits};"))?;
        kept
    }
}
