//! Entries in the book: appended under the head of the chain, fetched ones verified and kept.

use std::collections::BTreeSet;

use diesel::dsl::sql;
use diesel::prelude::*;
use diesel::sql_types::{Bool, Text};
use diesel::sqlite::SqliteConnection;
use spareloop_domain::ledger::sync::{Head, Heads};
use spareloop_domain::ledger::{Clock, Draft, Entry, Hash, Seq, Stamp};
use spareloop_domain::planted::{self, Moment};
use spareloop_domain::words::{Day, DeviceId, EntryId, LotId};

use super::chains::{self, Chain, Follower};
use super::farm::{self, odd};
use super::schema::{clock, entries};
use super::{BookError, schema};

#[derive(Queryable, Selectable, Insertable)]
#[diesel(table_name = schema::entries)]
struct Row {
    id: String,
    device: String,
    seq: i64,
    farm: String,
    at_millis: i64,
    at_counter: i64,
    on_day: String,
    kind: String,
    body: String,
    prev: String,
    hash: String,
    position: Option<i64>,
    taken_at: Option<i64>,
}

/// Where an entry stands in the farm's feed on the server, and since when.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Seen {
    /// 1, 2, 3 ... per farm.
    pub position: u64,
    /// When the server took it, by its clock, in milliseconds since 1970 UTC.
    pub taken_at: u64,
}

fn to_i64(number: u64) -> Result<i64, BookError> {
    i64::try_from(number).map_err(odd)
}

impl Row {
    fn of(entry: &Entry, seen: Option<Seen>) -> Result<Self, BookError> {
        Ok(Self {
            id: entry.id.to_string(),
            device: entry.device.to_string(),
            seq: to_i64(entry.seq.get())?,
            farm: entry.farm.to_string(),
            at_millis: to_i64(entry.at.millis)?,
            at_counter: i64::from(entry.at.counter),
            on_day: entry.on.to_string(),
            kind: entry.kind.clone(),
            body: entry.body.to_string(),
            prev: entry.prev.to_string(),
            hash: entry.hash.to_string(),
            position: seen.map(|seen| to_i64(seen.position)).transpose()?,
            taken_at: seen.map(|seen| to_i64(seen.taken_at)).transpose()?,
        })
    }

    /// What the server said of it. An entry that the server took before it told when has no time.
    fn seen(&self) -> Result<Option<Seen>, BookError> {
        let number = |it: i64| u64::try_from(it).map_err(odd);
        let taken_at = number(self.taken_at.unwrap_or(0))?;
        match self.position {
            None if taken_at > 0 => {
                Err(BookError::Damaged("an entry without its place".to_owned()))
            }
            None => Ok(None),
            Some(position) => Ok(Some(Seen { position: number(position)?, taken_at })),
        }
    }

    /// The entry, as it was sealed: whatever is read from the file is held against its hash.
    fn into_entry(self) -> Result<Entry, BookError> {
        let seq = u64::try_from(self.seq).ok().and_then(Seq::new);
        let entry = Entry {
            id: self.id.parse().map_err(odd)?,
            farm: self.farm.parse().map_err(odd)?,
            device: self.device.parse().map_err(odd)?,
            seq: seq.ok_or_else(|| odd("a place below 1"))?,
            at: Stamp {
                millis: u64::try_from(self.at_millis).map_err(odd)?,
                counter: u32::try_from(self.at_counter).map_err(odd)?,
            },
            on: self.on_day.parse().map_err(odd)?,
            kind: self.kind,
            body: serde_json::from_str(&self.body).map_err(odd)?,
            prev: self.prev.parse().map_err(odd)?,
            hash: self.hash.parse().map_err(odd)?,
        };
        entry.verify().map_err(|error| BookError::Damaged(error.to_string()))?;
        Ok(entry)
    }
}

/// Every entry in the book, chain by chain: each as it was sealed, none missing.
pub fn all(connection: &mut SqliteConnection) -> Result<Vec<Entry>, BookError> {
    let rows: Vec<Row> = entries::table
        .order((entries::device, entries::seq))
        .select(Row::as_select())
        .load(connection)?;
    let mut follower = Follower::default();
    let mut all = Vec::with_capacity(rows.len());
    for row in rows {
        let seen = row.seen()?;
        let entry = row.into_entry()?;
        follower.take(&entry, seen)?;
        all.push(entry);
    }
    follower.end(&chains::all(connection)?)?;
    Ok(all)
}

/// Every entry of a later day, in the order of days.
pub fn after_day(connection: &mut SqliteConnection, day: Day) -> Result<Vec<Entry>, BookError> {
    let rows: Vec<Row> = entries::table
        .filter(entries::on_day.gt(day.to_string()))
        .order(entries::on_day)
        .select(Row::as_select())
        .load(connection)?;
    rows.into_iter().map(Row::into_entry).collect()
}

/// Whether an entry of a later day is in the book.
pub fn is_any_after(connection: &mut SqliteConnection, day: Day) -> Result<bool, BookError> {
    let later: Option<i64> = entries::table
        .filter(entries::on_day.gt(day.to_string()))
        .select(entries::seq)
        .first(connection)
        .optional()?;
    Ok(later.is_some())
}

/// The entries that speak of a lot, in the fold's order.
pub fn about_lot(connection: &mut SqliteConnection, lot: LotId) -> Result<Vec<Entry>, BookError> {
    // The two halves have an index each (the words are those of the migration).
    const BY_LOT: &str = "json_extract(body, '$.lot') = ";
    const OTHER_KINDS: &str = "kind NOT IN ('opening', 'store', 'move', 'check', 'recount', 'loss', \
        'stop', 'wake-up', 'plant-out', 'came-up', 'receive', 'send', 'yield', \
        'field-observation', 'coming', 'plan', 'variety-note', 'climate', 'void') \
        AND instr(body, ";
    let text = lot.to_string();
    let mut rows: Vec<Row> = entries::table
        .filter(sql::<Bool>(BY_LOT).bind::<Text, _>(&text))
        .select(Row::as_select())
        .load(connection)?;
    rows.extend(
        entries::table
            .filter(sql::<Bool>(OTHER_KINDS).bind::<Text, _>(&text).sql(") > 0"))
            .select(Row::as_select())
            .load::<Row>(connection)?,
    );
    let found = rows.into_iter().map(Row::into_entry).collect::<Result<Vec<_>, _>>()?;
    let mut found: Vec<Entry> = found
        .into_iter()
        .filter(|entry| entry.read_body().is_ok_and(|body| body.lots().contains(&lot)))
        .collect();
    found.sort_by_key(|entry| (entry.order(), entry.hash));
    found.dedup_by_key(|entry| entry.hash);
    Ok(found)
}

/// The entries of a device's chain from `first` to `last`, in order.
pub fn of_device(
    connection: &mut SqliteConnection,
    device: DeviceId,
    first: u64,
    last: u64,
) -> Result<Vec<Entry>, BookError> {
    let rows: Vec<Row> = entries::table
        .filter(entries::device.eq(device.to_string()))
        .filter(entries::seq.between(to_i64(first)?, to_i64(last.min(i64::MAX.unsigned_abs()))?))
        .order(entries::seq)
        .select(Row::as_select())
        .load(connection)?;
    rows.into_iter().map(Row::into_entry).collect()
}

/// The entry at a place of a chain.
pub fn at_place(
    connection: &mut SqliteConnection,
    device: DeviceId,
    seq: Seq,
) -> Result<Option<Entry>, BookError> {
    Ok(of_device(connection, device, seq.get(), seq.get())?.pop())
}

/// The entry of that id.
pub fn find(connection: &mut SqliteConnection, id: EntryId) -> Result<Option<Entry>, BookError> {
    let row: Option<Row> = entries::table
        .filter(entries::id.eq(id.to_string()))
        .select(Row::as_select())
        .first(connection)
        .optional()?;
    row.map(Row::into_entry).transpose()
}

/// The end of every chain in the book.
pub fn heads(connection: &mut SqliteConnection) -> Result<Heads, BookError> {
    Ok(chains::all(connection)?.into_iter().map(|(device, chain)| (device, chain.head())).collect())
}

/// The end of one chain, as the next entry needs it.
pub fn head(
    connection: &mut SqliteConnection,
    device: DeviceId,
) -> Result<Option<Head>, BookError> {
    Ok(chains::all(connection)?.get(&device).map(Chain::head))
}

/// The clock as this device left it.
pub(crate) fn read_clock(connection: &mut SqliteConnection) -> Result<Clock, BookError> {
    let row: Option<(i64, i64)> =
        clock::table.select((clock::millis, clock::counter)).first(connection).optional()?;
    let last = match row {
        Some((millis, counter)) => Stamp {
            millis: u64::try_from(millis).map_err(odd)?,
            counter: u32::try_from(counter).map_err(odd)?,
        },
        None => Stamp::default(),
    };
    Ok(Clock::resume(last))
}

/// Keeps the clock, inside the transaction that used it.
pub(crate) fn write_clock(connection: &mut SqliteConnection, it: Clock) -> Result<(), BookError> {
    diesel::replace_into(clock::table)
        .values((
            clock::one.eq(1),
            clock::millis.eq(to_i64(it.last().millis)?),
            clock::counter.eq(i64::from(it.last().counter)),
        ))
        .execute(connection)?;
    Ok(())
}

/// Appends drafts to this device's chain, inside the caller's write transaction.
pub fn append(
    connection: &mut SqliteConnection,
    drafts: Vec<Draft>,
    wall_millis: u64,
) -> Result<Vec<Entry>, BookError> {
    let farm = farm::get(connection)?.id;
    let device = farm::device(connection)?.id;
    let mut clock = read_clock(connection)?;
    let mut end = head(connection, device)?;
    planted::reach(Moment::HeadRead);
    let mut sealed = Vec::with_capacity(drafts.len());
    for draft in drafts {
        let (seq, prev) = end.map_or((Seq::FIRST, Hash::START), |end| (end.seq.next(), end.hash));
        let entry = Entry::seal(draft, farm, device, seq, clock.tick(wall_millis), prev)?;
        end = Some(Head { seq: entry.seq, hash: entry.hash });
        sealed.push(entry);
    }
    insert(connection, &sealed)?;
    write_clock(connection, clock)?;
    Ok(sealed)
}

fn insert(connection: &mut SqliteConnection, sealed: &[Entry]) -> Result<(), BookError> {
    for entry in sealed {
        diesel::insert_into(entries::table).values(Row::of(entry, None)?).execute(connection)?;
    }
    Ok(())
}

/// Keeps an entry that the server holds. The caller has held it against its chain.
pub fn keep_fetched(
    connection: &mut SqliteConnection,
    entry: &Entry,
    seen: Seen,
) -> Result<(), BookError> {
    diesel::insert_into(entries::table).values(Row::of(entry, Some(seen))?).execute(connection)?;
    Ok(())
}

/// Keeps an entry that a file brought. It must be the next of its chain, verified by hash; the clock
/// is the caller's to move on.
pub fn keep_brought(connection: &mut SqliteConnection, entry: &Entry) -> Result<(), BookError> {
    insert(connection, std::slice::from_ref(entry))
}

/// Notes an entry's place in the farm's feed.
pub fn set_seen(
    connection: &mut SqliteConnection,
    device: DeviceId,
    seq: Seq,
    seen: Seen,
) -> Result<(), BookError> {
    diesel::update(entries::table.find((device.to_string(), to_i64(seq.get())?)))
        .set((
            entries::position.eq(Some(to_i64(seen.position)?)),
            entries::taken_at.eq(Some(to_i64(seen.taken_at)?)),
        ))
        .execute(connection)?;
    Ok(())
}

/// The hash at a place of a chain.
pub fn hash_at(
    connection: &mut SqliteConnection,
    device: DeviceId,
    seq: Seq,
) -> Result<Option<Hash>, BookError> {
    let hash: Option<String> = entries::table
        .find((device.to_string(), to_i64(seq.get())?))
        .select(entries::hash)
        .first(connection)
        .optional()?;
    hash.map(|hash| hash.parse().map_err(odd)).transpose()
}

/// Takes an entry out of the book; whoever calls keeps it elsewhere.
pub(super) fn take_out(connection: &mut SqliteConnection, entry: &Entry) -> Result<(), BookError> {
    let place = (entry.device.to_string(), to_i64(entry.seq.get())?);
    diesel::delete(entries::table.find(place)).execute(connection)?;
    Ok(())
}

/// Forgets every place in the feed: the server began a new epoch.
pub fn forget_positions(connection: &mut SqliteConnection) -> Result<(), BookError> {
    diesel::update(entries::table)
        .set((entries::position.eq(None::<i64>), entries::taken_at.eq(None::<i64>)))
        .execute(connection)?;
    Ok(())
}

#[derive(QueryableByName)]
struct IdRow {
    #[diesel(sql_type = diesel::sql_types::Text)]
    id: String,
}

/// Entries whose stamp lies more than a day ahead of the server's clock when it took them: kept, and
/// to be shown as such (`Stamp::is_far_ahead_of`, written so that the index answers).
pub fn far_ahead(connection: &mut SqliteConnection) -> Result<BTreeSet<EntryId>, BookError> {
    let rows: Vec<IdRow> =
        diesel::sql_query("SELECT id FROM entries WHERE at_millis > taken_at + 86400000")
            .load(connection)?;
    rows.into_iter().map(|row| row.id.parse().map_err(odd)).collect()
}

/// How many entries were not yet seen in the server's feed.
pub fn count_unsent(connection: &mut SqliteConnection) -> Result<u64, BookError> {
    Ok(chains::all(connection)?.values().map(|chain| chain.unplaced).sum())
}

/// Whether nothing was noted yet.
pub fn is_empty(connection: &mut SqliteConnection) -> Result<bool, BookError> {
    Ok(count(connection)? == 0)
}

/// How many entries there are.
pub fn count(connection: &mut SqliteConnection) -> Result<u64, BookError> {
    Ok(chains::all(connection)?.values().map(|chain| chain.entries).sum())
}

/// Takes back this device's last entry, which never left it.
pub fn withdraw(connection: &mut SqliteConnection, entry: &Entry) -> Result<(), BookError> {
    let gone = diesel::delete(
        entries::table
            .find((entry.device.to_string(), to_i64(entry.seq.get())?))
            .filter(entries::position.is_null())
            .filter(entries::hash.eq(entry.hash.to_string())),
    )
    .execute(connection)?;
    if gone == 1 { Ok(()) } else { Err(odd("the entry to take back is not there any more")) }
}
