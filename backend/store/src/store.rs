//! Opening the store, and its transactions.

use std::collections::BTreeSet;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::path::Path;
use std::sync::{Arc, OnceLock};
use std::time::Duration;

use chrono::{DateTime, Utc};
use diesel::r2d2::{Error as PoolError, Pool, PooledConnection};
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, RunQueryDsl, sql_query};

use spareloop_domain::planted::{self, Bug, Moment};
use spareloop_domain::words::FarmId;

use crate::books::Books;
use crate::connection::{AnyConnection, Manager, Use};
use crate::ledger::HouseSeal;
use crate::network_summaries::KeptBeliefs;
use crate::schema::{farms, house_seal, server_state};
use crate::together::{Part, Together};
use crate::{
    DatabaseUrl, OutageKind, SecretHash, StoreError, devices, fresh, messages, migrations,
};

/// How often an act is tried again when PostgreSQL gave it up for another's sake.
const TRIES: u32 = 5;
/// How long to wait for a connection, as long as SQLite waits for its lock.
const PATIENCE: Duration = Duration::from_secs(5);
const SQLITE_READERS: u32 = 8;
const POSTGRES_CONNECTIONS: u32 = 16;
const EPOCH: &str = "epoch";

/// The server's book. A clone is the same store.
#[derive(Clone)]
pub struct Store {
    inner: Arc<Inner>,
}

struct Inner {
    url: DatabaseUrl,
    writers: Pool<Manager>,
    readers: Pool<Manager>,
    together: Together,
    books: Books,
    beliefs: KeptBeliefs,
    seal: OnceLock<HouseSeal>,
}

/// One transaction. What the functions of the aggregates take.
pub struct Tx<'store> {
    pub(crate) connection: &'store mut AnyConnection,
    pub(crate) books: &'store Books,
    pub(crate) beliefs: &'store KeptBeliefs,
    pub(crate) ledger: LedgerSeen,
    pub(crate) seal: &'store OnceLock<HouseSeal>,
}

impl Tx<'_> {
    /// The seal on what the server writes into ledgers.
    pub(crate) fn seal(&mut self) -> Result<HouseSeal, StoreError> {
        if let Some(seal) = self.seal.get() {
            return Ok(seal.clone());
        }
        let key: Option<String> =
            house_seal::table.select(house_seal::seal_key).first(self.connection).optional()?;
        let key = key.ok_or_else(|| StoreError::corrupt("the key of the house seal is missing"))?;
        let seal = HouseSeal::new(*SecretHash::read(&key)?.bytes());
        Ok(self.seal.get_or_init(|| seal).clone())
    }
}

/// Farms whose ledgers this transaction has added to: what is read of those may still be rolled back.
#[derive(Debug, Default)]
pub(crate) struct LedgerSeen(BTreeSet<FarmId>);

impl LedgerSeen {
    /// Notes that the farm's ledger was added to.
    pub(crate) fn added_to(&mut self, farm: FarmId) {
        self.0.insert(farm);
    }

    /// Whether all that can be read of the farm's ledger is committed.
    pub(crate) fn is_committed(&self, farm: FarmId) -> bool {
        !self.0.contains(&farm)
    }
}

impl std::fmt::Debug for Store {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Store").field("url", &self.inner.url).finish_non_exhaustive()
    }
}

impl Store {
    /// Opens the database, makes the SQLite file if there is none (readable by its owner only) and
    /// brings the tables up to date.
    pub fn open(url: &DatabaseUrl) -> Result<Self, StoreError> {
        if let Some(path) = url.file() {
            make_private(path)?;
        }
        let store = Self::open_as_it_is(url)?;
        store.ensure_epoch()?;
        Ok(store)
    }

    /// Opens a database into which a copy was put: in one transaction it begins a new life. It gets a
    /// new epoch, by which devices notice; every farm gets a new house device, since the old chain
    /// may have gone on elsewhere, and is told what is not in the copy.
    pub fn open_restored(url: &DatabaseUrl, now: DateTime<Utc>) -> Result<Self, StoreError> {
        let store = Self::open_as_it_is(url)?;
        let epoch = random_epoch()?;
        store.write(|tx| {
            diesel::delete(server_state::table.find(EPOCH)).execute(tx.connection)?;
            diesel::insert_into(server_state::table)
                .values((server_state::name.eq(EPOCH), server_state::value.eq(&epoch)))
                .execute(tx.connection)?;
            devices::new_house_devices(tx, now)?;
            messages::tell_of_restore(tx, now)
        })?;
        Ok(store)
    }

    fn open_as_it_is(url: &DatabaseUrl) -> Result<Self, StoreError> {
        let mut first = AnyConnection::open(url, Use::Write).map_err(unreachable_because)?;
        migrations::up(&mut first)?;
        drop(first);
        let store = Self { inner: Arc::new(Inner::new(url)) };
        store.ensure_seal()?;
        Ok(store)
    }

    /// Whether the database answers.
    pub fn ping(&self) -> Result<(), StoreError> {
        self.read(|tx| Ok(sql_query("SELECT 1").execute(tx.connection).map(drop)?))
    }

    /// Where it is; shown without its password.
    pub fn url(&self) -> &DatabaseUrl {
        &self.inner.url
    }

    /// Reads one consistent moment. Writing is refused by the database.
    pub fn read<T>(
        &self,
        mut work: impl FnMut(&mut Tx<'_>) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        self.within(Use::Read, &mut work)
    }

    /// Does all of it or nothing: rolled back on an error and on a panic. The work may run again when
    /// it was given up for another's sake, so it must have no effect outside of the transaction. On
    /// SQLite writers share a commit (`together.rs`).
    pub fn write<T>(
        &self,
        mut work: impl FnMut(&mut Tx<'_>) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let mut tries = 1;
        loop {
            let done = match self.inner.url {
                DatabaseUrl::Sqlite(_) => self.within_shared(&mut work),
                DatabaseUrl::Postgres(_) => self.within(Use::Write, &mut work),
            };
            match done {
                Err(StoreError::Outage(outage))
                    if outage.kind == OutageKind::Contended && tries < TRIES =>
                {
                    tracing::debug!(tries, "the database gave an act up, trying again");
                    tries += 1;
                }
                done => return done,
            }
        }
    }

    fn within<T>(
        &self,
        used_for: Use,
        work: &mut impl FnMut(&mut Tx<'_>) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let mut connection = self.connection(used_for)?;
        connection.begin(used_for)?;
        let mut tx = self.tx(&mut connection, LedgerSeen::default());
        let outcome = catch_unwind(AssertUnwindSafe(|| work(&mut tx)));
        match outcome {
            Ok(Ok(value)) => {
                if used_for == Use::Write && answers_too_early() {
                    drop(connection.roll_back());
                    return Ok(value);
                }
                match connection.commit() {
                    Ok(()) if used_for == Use::Write => {
                        planted::reach(Moment::StoreCommitted);
                        Ok(value)
                    }
                    Ok(()) => Ok(value),
                    Err(error) => Err(undo(&mut connection, error)),
                }
            }
            Ok(Err(error)) => Err(undo(&mut connection, error)),
            Err(panic) => {
                // The panic matters more than what rolling back says about it.
                let _ = connection.roll_back();
                resume_unwind(panic)
            }
        }
    }

    /// One act of a transaction that others take part in.
    fn within_shared<T>(
        &self,
        work: &mut impl FnMut(&mut Tx<'_>) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let mut turn = self.inner.together.turn(PATIENCE, || self.connection(Use::Write))?;
        let done = turn.act(|connection, ledger| {
            let mut tx = self.tx(connection, ledger);
            let outcome = catch_unwind(AssertUnwindSafe(|| {
                let value = work(&mut tx)?;
                Ok::<_, StoreError>((value, answers_too_early()))
            }));
            let part = match outcome {
                Ok(Ok((_, false))) => Part::Kept,
                Ok(Ok((_, true)) | Err(_)) | Err(_) => Part::RolledBack,
            };
            (outcome, part, tx.ledger)
        });
        // Also for an act that failed: others may wait for it to end.
        let ended = turn.end();
        match done? {
            Ok(Ok((value, early))) => {
                ended?;
                if !early {
                    planted::reach(Moment::StoreCommitted);
                }
                Ok(value)
            }
            Ok(Err(error)) => ended.and(Err(error)),
            Err(panic) => resume_unwind(panic),
        }
    }

    fn tx<'store>(
        &'store self,
        connection: &'store mut AnyConnection,
        ledger: LedgerSeen,
    ) -> Tx<'store> {
        let Inner { books, beliefs, seal, .. } = &*self.inner;
        Tx { connection, books, beliefs, ledger, seal }
    }

    /// How many writers stand in line, if any is at work.
    #[cfg(test)]
    pub(crate) fn standing(&self) -> Option<usize> {
        self.inner.together.standing()
    }

    fn connection(&self, used_for: Use) -> Result<PooledConnection<Manager>, StoreError> {
        let pool = match used_for {
            Use::Read => &self.inner.readers,
            Use::Write => &self.inner.writers,
        };
        pool.get().map_err(|error| {
            let all_in_use = pool.state().connections == pool.max_size();
            let kind = if all_in_use { OutageKind::Busy } else { OutageKind::Unreachable };
            StoreError::outage(kind, error)
        })
    }

    /// The id that changes when the server was restored from an older copy.
    pub fn epoch(&self) -> Result<String, StoreError> {
        self.read(|tx| {
            let epoch: Option<String> = server_state::table
                .find(EPOCH)
                .select(server_state::value)
                .first(tx.connection)
                .optional()?;
            epoch.ok_or_else(|| StoreError::corrupt("server_state has no epoch"))
        })
    }

    /// Takes a new epoch, after a restore.
    pub fn new_epoch(&self) -> Result<String, StoreError> {
        let epoch = random_epoch()?;
        self.write(|tx| {
            diesel::update(server_state::table.find(EPOCH))
                .set(server_state::value.eq(&epoch))
                .execute(tx.connection)?;
            Ok(())
        })?;
        Ok(epoch)
    }

    /// Makes the seal's key, once and for all; it goes with the database into every copy.
    fn ensure_seal(&self) -> Result<(), StoreError> {
        let key = SecretHash::from(fresh::bytes::<32>()?).to_string();
        self.write(|tx| {
            // Two replicas may open an empty database together; the first one's key stays.
            sql_query(
                "INSERT INTO house_seal (name, seal_key) VALUES ('house', $1) ON CONFLICT DO NOTHING",
            )
            .bind::<diesel::sql_types::Text, _>(&key)
            .execute(tx.connection)?;
            Ok(())
        })
    }

    fn ensure_epoch(&self) -> Result<(), StoreError> {
        let epoch = random_epoch()?;
        self.write(|tx| {
            // A copy is put into PostgreSQL without its epoch (see `open_restored`).
            let known: i64 = server_state::table
                .filter(server_state::name.eq(EPOCH))
                .count()
                .get_result(tx.connection)?;
            let farms: i64 = farms::table.count().get_result(tx.connection)?;
            if known == 0 && farms > 0 {
                return Err(StoreError::RestoreCutOff);
            }
            // Two replicas may open an empty database together; the first one's epoch stays.
            sql_query(
                "INSERT INTO server_state (name, value) VALUES ($1, $2) ON CONFLICT DO NOTHING",
            )
            .bind::<diesel::sql_types::Text, _>(EPOCH)
            .bind::<diesel::sql_types::Text, _>(&epoch)
            .execute(tx.connection)?;
            Ok(())
        })
    }
}

impl Inner {
    fn new(url: &DatabaseUrl) -> Self {
        let manager = |used_for| Manager { url: url.clone(), used_for };
        let pool = |size, manager: Manager| {
            Pool::builder()
                .max_size(size)
                .min_idle(Some(0))
                .connection_timeout(PATIENCE)
                // A file doesn't go away; a PostgreSQL that was started again must not cost an act.
                .test_on_check_out(url.file().is_none())
                .build_unchecked(manager)
        };
        let (writers, readers) = match url {
            DatabaseUrl::Sqlite(_) => {
                (pool(1, manager(Use::Write)), pool(SQLITE_READERS, manager(Use::Read)))
            }
            DatabaseUrl::Postgres(_) => {
                let both = pool(POSTGRES_CONNECTIONS, manager(Use::Write));
                (both.clone(), both)
            }
        };
        let (books, beliefs) = (Books::default(), KeptBeliefs::default());
        Self {
            url: url.clone(),
            writers,
            readers,
            together: Together::default(),
            books,
            beliefs,
            seal: OnceLock::new(),
        }
    }
}

/// Stops here if the simulation says so, and then answers all the same where that is the planted
/// mistake. Otherwise nothing.
fn answers_too_early() -> bool {
    if planted::is(Bug::AnsweredBeforeCommit) {
        return catch_unwind(|| planted::reach(Moment::StoreWritten)).is_err();
    }
    planted::reach(Moment::StoreWritten);
    false
}

fn undo(connection: &mut AnyConnection, error: StoreError) -> StoreError {
    if let Err(also) = connection.roll_back() {
        tracing::warn!(%also, "rolling back failed; the pool drops this connection");
    }
    error
}

fn random_epoch() -> Result<String, StoreError> {
    Ok(format!("{:016x}", u64::from_be_bytes(fresh::bytes()?)))
}

pub(crate) fn unreachable_because(error: PoolError) -> StoreError {
    match error {
        PoolError::QueryError(error) => error.into(),
        PoolError::ConnectionError(error) => StoreError::outage(OutageKind::Unreachable, error),
    }
}

pub(crate) fn no_room(error: impl ToString) -> StoreError {
    StoreError::outage(OutageKind::NoRoom, error)
}

/// Makes the file, if there is none, so that only its owner reads it: it holds password hashes.
pub(crate) fn make_private(path: &Path) -> Result<(), StoreError> {
    let mut options = std::fs::OpenOptions::new();
    options.append(true).create(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(path).map(drop).map_err(|error| {
        StoreError::outage(OutageKind::Unreachable, format!("{}: {error}", path.display()))
    })
}
