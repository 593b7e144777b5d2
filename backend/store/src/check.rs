//! Reading the whole database through, and saying whether it is what was written.
//!
//! Every chain of every farm is followed and every entry's hash computed anew; positions must be
//! 1, 2, 3 ... up to the farm's newest; what an offer says is held and passed must be what its holds
//! and hand-overs say; what farms are told of one another must be what was written. SQLite's own check reads pages, indexes, CHECKs and foreign keys; PostgreSQL
//! checks its rules at every write, and its pages when its cluster was made with checksums.
//!
//! What stays unseen: a changed text or number in rows that nothing else speaks of (a name, an
//! offer's count, a message). Only a copy from before shows those.

use std::collections::BTreeMap;

use diesel::connection::{Connection as _, SimpleConnection};
use diesel::sql_types::{BigInt, Text};
use diesel::{
    ExpressionMethods, JoinOnDsl, QueryDsl, QueryableByName, RunQueryDsl, SqliteConnection,
    sql_query,
};
use spareloop_domain::exchange::HoldState;
use spareloop_domain::ledger::sync::{BatchLimits, Position};
use spareloop_domain::ledger::{Hash, Seq};
use spareloop_domain::words::{DeviceId, FarmId};

use crate::connection::AnyConnection;
use crate::schema::{farms, hand_overs, hold_now, holds, offers};
use crate::text::{read, unsigned};
use crate::{Store, StoreError, Tx, ledger, network_summaries};

/// How many entries are read at a time.
const PAGE: BatchLimits = BatchLimits { entries: 1_000, bytes: 4 * 1024 * 1024 };

/// What was read through and found whole.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Checked {
    /// Farms.
    pub farms: u64,
    /// Devices' chains.
    pub chains: u64,
    /// Entries.
    pub entries: u64,
}

impl std::fmt::Display for Checked {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let many = |number: u64, one: &'static str, more: &'static str| {
            format!("{number} {}", if number == 1 { one } else { more })
        };
        let Self { farms, chains, entries } = *self;
        write!(
            f,
            "{}, {}, {}",
            many(farms, "farm", "farms"),
            many(chains, "device's chain", "devices' chains"),
            many(entries, "entry", "entries"),
        )
    }
}

/// How much of SQLite's own check is done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Depth {
    /// Pages, rows and CHECKs, but not whether the indexes have what the tables have.
    Quick,
    /// All of it.
    Full,
}

impl Store {
    /// Reads everything through.
    pub fn check(&self) -> Result<Checked, StoreError> {
        self.read(everything)
    }

    /// What a server asks before it serves: the database's own quick check, and that promises add up.
    pub fn check_quickly(&self) -> Result<(), StoreError> {
        self.read(|tx| {
            databases_own(tx.connection, Depth::Quick)?;
            promises(tx)
        })
    }
}

/// Reads everything through, as of this transaction.
pub fn everything(tx: &mut Tx<'_>) -> Result<Checked, StoreError> {
    databases_own(tx.connection, Depth::Full)?;
    promises(tx)?;
    network_summaries::verify_all(tx)?;
    let all: Vec<(String, String, i64)> = farms::table
        .order(farms::id)
        .select((farms::id, farms::name, farms::newest_position))
        .load(tx.connection)?;
    let mut checked = Checked::default();
    for (id, name, newest) in all {
        let (chains, entries) = follow(tx, read(&id)?, unsigned(newest)?)
            .map_err(|error| in_ledger_of(&name, error))?;
        checked.farms += 1;
        checked.chains += chains;
        checked.entries += entries;
    }
    Ok(checked)
}

fn in_ledger_of(farm: &str, error: StoreError) -> StoreError {
    match error {
        StoreError::Corrupt { log } => {
            StoreError::corrupt(format!("in the ledger of {farm:?}: {log}"))
        }
        other => other,
    }
}

/// Follows a farm's feed to its newest position; answers how many chains and entries it has.
fn follow(tx: &mut Tx<'_>, farm: FarmId, newest: u64) -> Result<(u64, u64), StoreError> {
    let mut ends: BTreeMap<DeviceId, (Seq, Hash)> = BTreeMap::new();
    let mut last = 0;
    loop {
        let page = ledger::page(tx, farm, Position(last), PAGE)?;
        if page.entries.is_empty() {
            break;
        }
        for ledger::Positioned { position, entry, .. } in page.entries {
            if position.0 != last + 1 {
                return Err(StoreError::corrupt(format!(
                    "nothing stands at position {}",
                    last + 1
                )));
            }
            entry.verify().map_err(StoreError::corrupt)?;
            let (seq, prev) = ends
                .get(&entry.device)
                .map_or((Seq::FIRST, Hash::START), |(seq, hash)| (seq.next(), *hash));
            if (entry.farm, entry.seq, entry.prev) != (farm, seq, prev) {
                return Err(StoreError::corrupt(format!(
                    "the chain of device {} is broken at {}",
                    entry.device, entry.seq
                )));
            }
            ends.insert(entry.device, (entry.seq, entry.hash));
            last = position.0;
        }
    }
    if last != newest {
        return Err(StoreError::corrupt(format!(
            "the newest position is noted as {newest}, and the last entry stands at {last}"
        )));
    }
    Ok((ends.len() as u64, last))
}

/// What offers say is held and passed is what their holds and hand-overs say.
fn promises(tx: &mut Tx<'_>) -> Result<(), StoreError> {
    let said: Vec<(String, i64, i64)> =
        offers::table.select((offers::id, offers::held, offers::passed)).load(tx.connection)?;
    let live: Vec<(String, i64)> = hold_now::table
        .filter(hold_now::state.eq_any([HoldState::Held.code(), HoldState::Agreed.code()]))
        .select((hold_now::offer, hold_now::count))
        .load(tx.connection)?;
    let given: Vec<(String, i64)> = hand_overs::table
        .inner_join(holds::table.on(holds::id.eq(hand_overs::hold)))
        .select((holds::offer, hand_overs::given))
        .load(tx.connection)?;
    let (live, given) = (sums(live), sums(given));
    for (offer, held, passed) in said {
        let found = (live.get(&offer).copied(), given.get(&offer).copied());
        let found = (found.0.unwrap_or(0), found.1.unwrap_or(0));
        if found != (held, passed) {
            return Err(StoreError::corrupt(format!(
                "offer {offer} says {held} held and {passed} handed over, its holds say {} and {}",
                found.0, found.1
            )));
        }
    }
    Ok(())
}

fn sums(rows: Vec<(String, i64)>) -> BTreeMap<String, i64> {
    let mut sums = BTreeMap::new();
    for (of, number) in rows {
        *sums.entry(of).or_insert(0_i64) += number;
    }
    sums
}

#[derive(QueryableByName)]
struct Verdict {
    #[diesel(sql_type = Text)]
    verdict: String,
}

#[derive(QueryableByName)]
struct Number {
    #[diesel(sql_type = BigInt)]
    number: i64,
}

fn databases_own(connection: &mut AnyConnection, depth: Depth) -> Result<(), StoreError> {
    match connection {
        AnyConnection::Sqlite(connection) => sqlites_own(connection, depth),
        AnyConnection::Postgres(_) => Ok(()),
    }
}

/// SQLite's own check of pages, rows, CHECKs and foreign keys.
pub(crate) fn sqlites_own(
    connection: &mut SqliteConnection,
    depth: Depth,
) -> Result<(), StoreError> {
    let pragma = match depth {
        Depth::Quick => "pragma_quick_check",
        Depth::Full => "pragma_integrity_check",
    };
    let column = pragma.trim_start_matches("pragma_");
    let verdict: Vec<Verdict> =
        sql_query(format!("SELECT {column} AS verdict FROM {pragma}")).load(connection)?;
    if !matches!(verdict.as_slice(), [Verdict { verdict }] if verdict == "ok") {
        return Err(StoreError::corrupt(
            verdict.iter().map(|one| one.verdict.as_str()).collect::<Vec<_>>().join("; "),
        ));
    }
    let lost = sql_query("SELECT count(*) AS number FROM pragma_foreign_key_check")
        .get_result::<Number>(connection)?
        .number;
    if lost > 0 {
        return Err(StoreError::corrupt(format!("{lost} rows speak of others that are not there")));
    }
    Ok(())
}

/// Reads a copy of a SQLite database through and says whether it is whole and a server's book.
///
/// Its tables may be of an earlier version, so its ledgers are followed once it was brought up to
/// date (see [`Store::check`]).
pub fn check_copy(path: &std::path::Path) -> Result<(), StoreError> {
    let mut copy =
        SqliteConnection::establish(&path.to_string_lossy()).map_err(StoreError::corrupt)?;
    sqlites_own(&mut copy, Depth::Full)?;
    copy.batch_execute("SELECT 1 FROM server_state")?;
    Ok(())
}
