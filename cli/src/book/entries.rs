//! Entries in the book: appended under the head of the chain, fetched ones verified and kept.

use diesel::dsl::max;
use diesel::prelude::*;
use diesel::sqlite::SqliteConnection;
use spareloop_domain::ledger::{Clock, Draft, Entry, Hash, Seq, Stamp};
use spareloop_domain::planted::{self, Moment};
use spareloop_domain::words::{DeviceId, EntryId};

use super::farm::{self, odd};
use super::schema::{clock, entries, parked};
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
}

fn to_i64(number: u64) -> Result<i64, BookError> {
    i64::try_from(number).map_err(odd)
}

impl Row {
    fn of(entry: &Entry, position: Option<u64>) -> Result<Self, BookError> {
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
            position: position.map(to_i64).transpose()?,
        })
    }

    fn into_entry(self) -> Result<Entry, BookError> {
        let seq = u64::try_from(self.seq).ok().and_then(Seq::new);
        Ok(Entry {
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
        })
    }
}

/// Every entry in the book, chain by chain.
pub fn all(connection: &mut SqliteConnection) -> Result<Vec<Entry>, BookError> {
    let rows: Vec<Row> = entries::table
        .order((entries::device, entries::seq))
        .select(Row::as_select())
        .load(connection)?;
    rows.into_iter().map(Row::into_entry).collect()
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
pub fn heads(connection: &mut SqliteConnection) -> Result<Vec<(DeviceId, Seq, Hash)>, BookError> {
    let ends: Vec<(String, Option<i64>)> = entries::table
        .group_by(entries::device)
        .select((entries::device, max(entries::seq)))
        .load(connection)?;
    let mut heads = Vec::with_capacity(ends.len());
    for (device, seq) in ends {
        let hash: String = entries::table
            .filter(entries::device.eq(&device))
            .filter(entries::seq.eq(seq.unwrap_or(0)))
            .select(entries::hash)
            .first(connection)?;
        let seq = seq.and_then(|seq| u64::try_from(seq).ok()).and_then(Seq::new);
        heads.push((
            device.parse().map_err(odd)?,
            seq.ok_or_else(|| odd("a place below 1"))?,
            hash.parse().map_err(odd)?,
        ));
    }
    Ok(heads)
}

/// The end of one chain, as the next entry needs it.
pub fn head(
    connection: &mut SqliteConnection,
    device: DeviceId,
) -> Result<Option<(Seq, Hash)>, BookError> {
    let row: Option<(i64, String)> = entries::table
        .filter(entries::device.eq(device.to_string()))
        .order(entries::seq.desc())
        .select((entries::seq, entries::hash))
        .first(connection)
        .optional()?;
    row.map(|(seq, hash)| {
        let seq = u64::try_from(seq).ok().and_then(Seq::new);
        Ok((seq.ok_or_else(|| odd("a place below 1"))?, hash.parse().map_err(odd)?))
    })
    .transpose()
}

fn read_clock(connection: &mut SqliteConnection) -> Result<Clock, BookError> {
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

fn write_clock(connection: &mut SqliteConnection, it: Clock) -> Result<(), BookError> {
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
        let (seq, prev) = end.map_or((Seq::FIRST, Hash::START), |(seq, hash)| (seq.next(), hash));
        let entry = Entry::seal(draft, farm, device, seq, clock.tick(wall_millis), prev)?;
        end = Some((entry.seq, entry.hash));
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

/// Keeps an entry that the server holds. It must be the next of its chain, verified by hash.
pub fn keep_fetched(
    connection: &mut SqliteConnection,
    entry: &Entry,
    position: u64,
    wall_millis: u64,
) -> Result<(), BookError> {
    diesel::insert_into(entries::table)
        .values(Row::of(entry, Some(position))?)
        .execute(connection)?;
    let mut clock = read_clock(connection)?;
    clock.observe(entry.at, wall_millis);
    write_clock(connection, clock)
}

/// Notes an entry's place in the farm's feed.
pub fn set_position(
    connection: &mut SqliteConnection,
    entry: &Entry,
    position: u64,
) -> Result<(), BookError> {
    let place = (entry.device.to_string(), to_i64(entry.seq.get())?);
    diesel::update(entries::table.find(place))
        .set(entries::position.eq(Some(to_i64(position)?)))
        .execute(connection)?;
    Ok(())
}

/// Forgets every place in the feed: the server began a new epoch.
pub fn forget_positions(connection: &mut SqliteConnection) -> Result<(), BookError> {
    diesel::update(entries::table).set(entries::position.eq(None::<i64>)).execute(connection)?;
    Ok(())
}

/// How many entries were not yet seen in the server's feed.
pub fn count_unsent(connection: &mut SqliteConnection) -> Result<u64, BookError> {
    let count: i64 =
        entries::table.filter(entries::position.is_null()).count().get_result(connection)?;
    Ok(count.unsigned_abs())
}

/// How many entries there are.
pub fn count(connection: &mut SqliteConnection) -> Result<u64, BookError> {
    let count: i64 = entries::table.count().get_result(connection)?;
    Ok(count.unsigned_abs())
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

/// One entry set aside, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Parked {
    /// The entry, whole.
    pub entry: Entry,
    /// The problem's code.
    pub code: String,
    /// In words.
    pub detail: String,
}

/// Sets an entry aside: it leaves the chain here, and is kept and shown.
pub fn park(
    connection: &mut SqliteConnection,
    entry: &Entry,
    code: &str,
    detail: &str,
    wall_millis: u64,
) -> Result<(), BookError> {
    let text = serde_json::to_string(entry).map_err(odd)?;
    diesel::insert_into(parked::table)
        .values((
            parked::entry.eq(text),
            parked::code.eq(code),
            parked::detail.eq(detail),
            parked::parked_at.eq(to_i64(wall_millis)?),
        ))
        .execute(connection)?;
    let place = (entry.device.to_string(), to_i64(entry.seq.get())?);
    diesel::delete(entries::table.find(place)).execute(connection)?;
    Ok(())
}

/// What was set aside, oldest first.
pub fn all_parked(connection: &mut SqliteConnection) -> Result<Vec<Parked>, BookError> {
    let rows: Vec<(String, String, String)> = parked::table
        .order(parked::number)
        .select((parked::entry, parked::code, parked::detail))
        .load(connection)?;
    rows.into_iter()
        .map(|(entry, code, detail)| {
            Ok(Parked { entry: serde_json::from_str(&entry).map_err(odd)?, code, detail })
        })
        .collect()
}
