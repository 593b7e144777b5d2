//! What stands in the files, read by the simulation's own SQL, so that no room under test is asked
//! about itself; and what the server's feed was in each of its lives.

use std::collections::{BTreeMap, HashMap};
use std::path::Path;

use diesel::connection::SimpleConnection;
use diesel::sql_types::{BigInt, Nullable, Text};
use diesel::{Connection, QueryableByName, RunQueryDsl, SqliteConnection, sql_query};
use spareloop_domain::ledger::Entry;

use crate::violation::{Held, Invariant, broken};

/// An entry's row, as the client and the server both have it.
#[derive(Debug, Clone, PartialEq, Eq, QueryableByName)]
pub struct Row {
    #[diesel(sql_type = Text)]
    pub id: String,
    #[diesel(sql_type = Text)]
    pub device: String,
    #[diesel(sql_type = BigInt)]
    pub seq: i64,
    #[diesel(sql_type = Text)]
    pub farm: String,
    #[diesel(sql_type = BigInt)]
    pub at_millis: i64,
    #[diesel(sql_type = BigInt)]
    pub at_counter: i64,
    #[diesel(sql_type = Text)]
    pub on_day: String,
    #[diesel(sql_type = Text)]
    pub kind: String,
    #[diesel(sql_type = Text)]
    pub body: String,
    #[diesel(sql_type = Text)]
    pub prev: String,
    #[diesel(sql_type = Text)]
    pub hash: String,
}

const COLUMNS: &str =
    "id, device, seq, farm, at_millis, at_counter, on_day, kind, body, prev, hash";

impl Row {
    /// The entry that the row says.
    pub fn entry(&self) -> Entry {
        let body: serde_json::Value = serde_json::from_str(&self.body).expect("a body is JSON");
        serde_json::from_value(serde_json::json!({
            "id": self.id,
            "farm": self.farm,
            "device": self.device,
            "seq": self.seq,
            "at": { "millis": self.at_millis, "counter": self.at_counter },
            "on": self.on_day,
            "kind": self.kind,
            "body": body,
            "prev": self.prev,
            "hash": self.hash,
        }))
        .expect("a row holds an entry")
    }

    /// When it was made, on the hybrid clock.
    pub const fn at(&self) -> (i64, i64) {
        (self.at_millis, self.at_counter)
    }
}

/// A place of a chain, and the hash there.
#[derive(Debug, Clone, PartialEq, Eq, QueryableByName)]
pub struct Place {
    #[diesel(sql_type = Text)]
    pub device: String,
    #[diesel(sql_type = BigInt)]
    pub seq: i64,
    #[diesel(sql_type = Text)]
    pub hash: String,
}

#[derive(QueryableByName)]
struct Cursor {
    #[diesel(sql_type = Nullable<Text>)]
    epoch: Option<String>,
    #[diesel(sql_type = BigInt)]
    cursor: i64,
}

#[derive(QueryableByName)]
struct One {
    #[diesel(sql_type = Text)]
    one: String,
}

/// Reads a file beside the programs that work on it.
pub struct Reader(SqliteConnection);

impl Reader {
    /// Opens a file of either side.
    pub fn open(path: &Path) -> Self {
        let mut connection =
            SqliteConnection::establish(&path.to_string_lossy()).expect("the file opens");
        connection.batch_execute("PRAGMA query_only = ON;").expect("it is only read");
        Self(connection)
    }

    fn texts(&mut self, query: &str) -> Vec<String> {
        let found: Vec<One> = sql_query(query).load(&mut self.0).expect("a query of ours");
        found.into_iter().map(|found| found.one).collect()
    }

    /// Every entry, chain by chain.
    pub fn rows(&mut self) -> Vec<Row> {
        let query = format!("SELECT {COLUMNS} FROM entries ORDER BY device, seq");
        sql_query(query).load(&mut self.0).expect("entries")
    }

    /// The server's entries behind a position, in order.
    pub fn behind(&mut self, position: usize) -> Vec<Row> {
        let query = format!(
            "SELECT {COLUMNS} FROM entries WHERE position > {position} ORDER BY position, device"
        );
        sql_query(query).load(&mut self.0).expect("entries")
    }

    /// The server's positions behind one, in order.
    pub fn positions_behind(&mut self, position: usize) -> Vec<String> {
        self.texts(&format!(
            "SELECT CAST(position AS TEXT) AS one FROM entries WHERE position > {position} ORDER BY position"
        ))
    }

    /// The entries of these ids.
    pub fn of_ids(&mut self, ids: &[String]) -> Vec<Row> {
        let ids = ids.iter().map(|id| format!("'{id}'")).collect::<Vec<_>>().join(", ");
        sql_query(format!("SELECT {COLUMNS} FROM entries WHERE id IN ({ids}) ORDER BY device, seq"))
            .load(&mut self.0)
            .expect("entries")
    }

    /// Entries that are stamped at that millisecond or later.
    pub fn not_before(&mut self, millis: i64) -> Vec<Row> {
        sql_query(format!("SELECT {COLUMNS} FROM entries WHERE at_millis >= {millis}"))
            .load(&mut self.0)
            .expect("entries")
    }

    /// The stamp of the last entry of a chain.
    pub fn newest_of(&mut self, device: &str) -> Option<(i64, i64)> {
        let query = format!(
            "SELECT {COLUMNS} FROM entries WHERE device = '{device}' ORDER BY seq DESC LIMIT 1"
        );
        let found: Vec<Row> = sql_query(query).load(&mut self.0).expect("entries");
        found.first().map(Row::at)
    }

    /// Every place that a file holds an entry at.
    pub fn places(&mut self) -> Vec<Place> {
        sql_query("SELECT device, seq, hash FROM entries").load(&mut self.0).expect("places")
    }

    /// The ids of all entries.
    pub fn ids(&mut self) -> Vec<String> {
        self.texts("SELECT id AS one FROM entries")
    }

    /// The ids of the entries that a book has set aside and that stand nowhere else in it.
    pub fn waiting_ids(&mut self) -> Vec<String> {
        self.texts("SELECT json_extract(entry, '$.id') AS one FROM parked WHERE state = 'waiting'")
    }

    /// The ids of the entries that a book has noted again at another place.
    pub fn noted_again_ids(&mut self) -> Vec<String> {
        self.texts("SELECT json_extract(entry, '$.id') AS one FROM parked WHERE state <> 'waiting'")
    }

    /// How far a book has read, and in which life of the server.
    pub fn cursor(&mut self) -> (Option<String>, usize) {
        let found: Cursor =
            sql_query("SELECT epoch, cursor FROM link").get_result(&mut self.0).expect("a link");
        (found.epoch, usize::try_from(found.cursor).expect("a cursor is 0 or more"))
    }

    /// The id under which a book writes.
    pub fn device(&mut self) -> String {
        self.texts("SELECT id AS one FROM devices WHERE state = 'current'").concat()
    }

    /// The server's epoch.
    pub fn epoch(&mut self) -> String {
        self.texts("SELECT value AS one FROM server_state WHERE name = 'epoch'").concat()
    }

    /// Whether the server knows that device.
    pub fn knows(&mut self, device: &str) -> bool {
        !self
            .texts(&format!(
                "SELECT id AS one FROM devices WHERE id = '{device}' AND token_hash IS NOT NULL"
            ))
            .is_empty()
    }
}

/// The server's feed in one of its lives.
#[derive(Debug, Default)]
pub struct Feed {
    /// What stands at position 1, 2, 3 ...
    pub places: Vec<Place>,
    /// The hash at each place of a chain.
    pub at: HashMap<(String, i64), String>,
    heads: BTreeMap<String, (i64, String)>,
}

/// When the server stored an entry, the first and the last time, in milliseconds.
#[derive(Debug, Clone, Copy)]
pub struct Taken {
    pub first: u64,
    pub last: u64,
}

/// What the server's file held, life by life.
#[derive(Debug, Default)]
pub struct Lives {
    feeds: BTreeMap<String, Feed>,
    current: String,
    /// By the entry's hash.
    pub taken: HashMap<String, Taken>,
}

impl Lives {
    /// The feed as it is now.
    pub fn now(&self) -> &Feed {
        &self.feeds[&self.current]
    }

    /// The feed of a life of the server, if there was one.
    pub fn of(&self, epoch: &str) -> Option<&Feed> {
        self.feeds.get(epoch)
    }

    /// Takes note of what the server's file newly holds. Checks that positions are 1, 2, 3 ... and
    /// that every entry follows the one before it in its chain.
    pub fn catch_up(&mut self, reader: &mut Reader, now: u64) -> Held<Vec<Row>> {
        self.current = reader.epoch();
        let feed = self.feeds.entry(self.current.clone()).or_default();
        let known = feed.places.len();
        let new = reader.behind(known);
        for (at, position) in reader.positions_behind(known).iter().enumerate() {
            if *position != (known + at + 1).to_string() {
                return broken(
                    Invariant::NeverAhead,
                    format!("position {position} stands where {} must", known + at + 1),
                );
            }
        }
        for row in &new {
            let (seq, before) = feed.heads.get(&row.device).cloned().unwrap_or((0, "0".repeat(64)));
            if row.seq != seq + 1 || row.prev != before {
                return broken(
                    Invariant::ChainsHold,
                    format!(
                        "the server holds {}/{} behind place {seq}, naming {} where {before} stands",
                        row.device, row.seq, row.prev
                    ),
                );
            }
            feed.heads.insert(row.device.clone(), (row.seq, row.hash.clone()));
            feed.at.insert((row.device.clone(), row.seq), row.hash.clone());
            let (device, seq, hash) = (row.device.clone(), row.seq, row.hash.clone());
            feed.places.push(Place { device, seq, hash });
            let taken =
                self.taken.entry(row.hash.clone()).or_insert(Taken { first: now, last: now });
            taken.last = now;
        }
        Ok(new)
    }
}
