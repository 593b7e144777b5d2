//! Opening the store, and its transactions.

use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use diesel::connection::{Connection as _, SimpleConnection};
use diesel::r2d2::{Error as PoolError, Pool, PooledConnection};
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, RunQueryDsl, sql_query};

use spareloop_domain::planted::{self, Bug, Moment};

use crate::books::Books;
use crate::connection::{AnyConnection, Manager, Use};
use crate::schema::server_state;
use crate::{DatabaseUrl, OutageKind, StoreError, fresh, migrations};

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
    books: Books,
}

/// One transaction. What the functions of the aggregates take.
pub struct Tx<'store> {
    pub(crate) connection: &'store mut AnyConnection,
    pub(crate) books: &'store Books,
    pub(crate) ledger: LedgerSeen,
}

/// Whether this transaction has added entries that nobody else can see yet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum LedgerSeen {
    /// What is read is committed.
    Committed,
    /// Some may still be rolled back.
    OwnEntries,
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
        let mut first = AnyConnection::open(url, Use::Write).map_err(unreachable_because)?;
        migrations::up(&mut first)?;
        drop(first);
        let store = Self { inner: Arc::new(Inner::new(url)) };
        store.ensure_epoch()?;
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

    /// Does all of it or nothing: rolled back on an error and on a panic. On PostgreSQL the work
    /// may run again when the database gave it up for another's sake, so it must have no effect
    /// outside of the transaction.
    pub fn write<T>(
        &self,
        mut work: impl FnMut(&mut Tx<'_>) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let mut tries = 1;
        loop {
            match self.within(Use::Write, &mut work) {
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
        let mut tx = Tx {
            connection: &mut connection,
            books: &self.inner.books,
            ledger: LedgerSeen::Committed,
        };
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

    fn ensure_epoch(&self) -> Result<(), StoreError> {
        let epoch = random_epoch()?;
        self.write(|tx| {
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

    /// Writes a whole and checked copy of a SQLite database to `copy`, while others work on.
    ///
    /// An existing file is never overwritten. PostgreSQL has its own tools for that.
    pub fn backup_to(&self, copy: &Path) -> Result<(), StoreError> {
        if self.inner.url.file().is_none() {
            return Err(StoreError::NotForThisDatabase {
                what: "a backup to a file",
                hint: "use pg_dump, which makes a whole copy while the server runs",
            });
        }
        if copy.exists() {
            return Err(no_room(format!("{} is there already", copy.display())));
        }
        let partial = copy.with_extension("partial");
        let made = self.copy_and_check(&partial);
        if made.is_err() {
            // Half a copy must not be taken for a whole one.
            let _ = std::fs::remove_file(&partial);
            return made;
        }
        std::fs::File::open(&partial).and_then(|file| file.sync_all()).map_err(no_room)?;
        std::fs::rename(&partial, copy).map_err(no_room)
    }

    fn copy_and_check(&self, partial: &Path) -> Result<(), StoreError> {
        let mut source =
            AnyConnection::open(&self.inner.url, Use::Write).map_err(unreachable_because)?;
        make_private(partial)?;
        sql_query("VACUUM INTO $1")
            .bind::<diesel::sql_types::Text, _>(partial.to_string_lossy().into_owned())
            .execute(&mut source)?;
        check_copy(partial)
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
        Self { url: url.clone(), writers, readers, books: Books::default() }
    }
}

/// Reads a copy of a SQLite database through and says whether it is whole.
pub fn check_copy(path: &Path) -> Result<(), StoreError> {
    #[derive(diesel::QueryableByName)]
    struct Verdict {
        #[diesel(sql_type = diesel::sql_types::Text)]
        integrity_check: String,
    }
    let mut copy = diesel::SqliteConnection::establish(&path.to_string_lossy())
        .map_err(StoreError::corrupt)?;
    let verdict: Vec<Verdict> = sql_query("PRAGMA integrity_check").load(&mut copy)?;
    copy.batch_execute("SELECT 1 FROM server_state")?;
    match verdict.as_slice() {
        [Verdict { integrity_check }] if integrity_check == "ok" => Ok(()),
        found => Err(StoreError::corrupt(
            found.iter().map(|one| one.integrity_check.as_str()).collect::<Vec<_>>().join("; "),
        )),
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

fn unreachable_because(error: PoolError) -> StoreError {
    match error {
        PoolError::QueryError(error) => error.into(),
        PoolError::ConnectionError(error) => StoreError::outage(OutageKind::Unreachable, error),
    }
}

fn no_room(error: impl ToString) -> StoreError {
    StoreError::outage(OutageKind::NoRoom, error)
}

/// Makes the file, if there is none, so that only its owner reads it: it holds password hashes.
fn make_private(path: &Path) -> Result<(), StoreError> {
    let mut options = std::fs::OpenOptions::new();
    options.append(true).create(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(path).map(drop).map_err(|error| {
        StoreError::outage(OutageKind::Unreachable, format!("{}: {error}", path.display()))
    })
}
