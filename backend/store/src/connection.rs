//! One connection to either database, its pool's manager and what is set on opening it.

use diesel::connection::{AnsiTransactionManager, SimpleConnection, TransactionManager};
use diesel::r2d2::{Error as PoolError, ManageConnection};
use diesel::{
    Connection as _, PgConnection, QueryResult, RunQueryDsl, SqliteConnection, sql_query,
};

use crate::{DatabaseUrl, StoreError};

/// A connection to SQLite or to PostgreSQL. One body of SQL runs on both.
#[derive(diesel::MultiConnection)]
pub(crate) enum AnyConnection {
    /// SQLite.
    Sqlite(SqliteConnection),
    /// PostgreSQL.
    Postgres(PgConnection),
}

/// What a connection is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Use {
    /// Reads one consistent moment; SQLite refuses to write over it.
    Read,
    /// Reads and writes.
    Write,
}

/// Opens connections for a pool.
#[derive(Debug, Clone)]
pub(crate) struct Manager {
    pub(crate) url: DatabaseUrl,
    pub(crate) used_for: Use,
}

// Committed means on disk: FULL. A reader never waits for the writer: WAL.
const SQLITE_SETTINGS: &str = "PRAGMA busy_timeout = 5000; PRAGMA journal_mode = WAL; \
    PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON; PRAGMA trusted_schema = OFF; \
    PRAGMA cell_size_check = ON;";
const SQLITE_READER: &str = "PRAGMA query_only = ON;";
const POSTGRES_SETTINGS: &str = "SET TIME ZONE 'UTC'; SET lock_timeout = '5s'; \
    SET statement_timeout = '30s'; SET idle_in_transaction_session_timeout = '60s';";

impl AnyConnection {
    pub(crate) fn open(url: &DatabaseUrl, used_for: Use) -> Result<Self, PoolError> {
        match url {
            DatabaseUrl::Sqlite(path) => {
                let mut c = SqliteConnection::establish(&path.to_string_lossy())
                    .map_err(PoolError::ConnectionError)?;
                c.batch_execute(SQLITE_SETTINGS).map_err(PoolError::QueryError)?;
                if used_for == Use::Read {
                    c.batch_execute(SQLITE_READER).map_err(PoolError::QueryError)?;
                }
                Ok(Self::Sqlite(c))
            }
            DatabaseUrl::Postgres(url) => {
                let mut c = PgConnection::establish(url).map_err(PoolError::ConnectionError)?;
                c.batch_execute(POSTGRES_SETTINGS).map_err(PoolError::QueryError)?;
                Ok(Self::Postgres(c))
            }
        }
    }

    /// Begins a transaction. A writer on SQLite asks for the lock at once, since one that has read
    /// first is refused the moment that another has written.
    pub(crate) fn begin(&mut self, used_for: Use) -> QueryResult<()> {
        match (self, used_for) {
            (Self::Sqlite(c), Use::Read) => {
                AnsiTransactionManager::begin_transaction_sql(c, "BEGIN DEFERRED")
            }
            (Self::Sqlite(c), Use::Write) => {
                AnsiTransactionManager::begin_transaction_sql(c, "BEGIN IMMEDIATE")
            }
            (Self::Postgres(c), Use::Read) => AnsiTransactionManager::begin_transaction_sql(
                c,
                "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY",
            ),
            (Self::Postgres(c), Use::Write) => {
                AnsiTransactionManager::begin_transaction_sql(c, "BEGIN")
            }
        }
    }

    /// Commits, and says so only if it is kept.
    pub(crate) fn commit(&mut self) -> Result<(), StoreError> {
        // PostgreSQL answers COMMIT of a failed transaction with a quiet ROLLBACK. If an error was
        // swallowed on the way, this statement brings it to light.
        if let Self::Postgres(c) = self {
            sql_query("SELECT 1").execute(c)?;
        }
        Ok(<Self as diesel::Connection>::TransactionManager::commit_transaction(self)?)
    }

    pub(crate) fn roll_back(&mut self) -> QueryResult<()> {
        <Self as diesel::Connection>::TransactionManager::rollback_transaction(self)
    }
}

impl ManageConnection for Manager {
    type Connection = AnyConnection;
    type Error = PoolError;

    fn connect(&self) -> Result<AnyConnection, PoolError> {
        AnyConnection::open(&self.url, self.used_for)
    }

    fn is_valid(&self, connection: &mut AnyConnection) -> Result<(), PoolError> {
        connection.batch_execute("SELECT 1").map_err(PoolError::QueryError)
    }

    fn has_broken(&self, connection: &mut AnyConnection) -> bool {
        std::thread::panicking()
            || <AnyConnection as diesel::Connection>::TransactionManager::is_broken_transaction_manager(
                connection,
            )
    }
}
