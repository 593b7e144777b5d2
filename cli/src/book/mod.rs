//! The stock book's file: SQLite through diesel.
//!
//! Every write is one `BEGIN IMMEDIATE` transaction that reads the head of the chain inside, so
//! that two programs on one file never take the same place; `synchronous=FULL`, so that what a
//! command says is noted survives a power cut. What may not enter: rules of the trade, HTTP, and
//! secrets (those lie in a file of their own, [`keys`]).

pub mod acts;
pub mod backup;
pub mod carry;
pub mod entries;
mod error;
pub mod farm;
pub mod imports;
pub mod keys;
pub mod link;
pub mod parked;
mod schema;

use std::path::{Path, PathBuf};
use std::time::Duration;

use diesel::connection::SimpleConnection;
use diesel::prelude::*;
use diesel::sqlite::SqliteConnection;
use diesel_migrations::{EmbeddedMigrations, MigrationHarness, embed_migrations};

use spareloop_domain::planted::{self, Bug, Moment};

pub use error::{BookError, sentence as error_sentence};

const MIGRATIONS: EmbeddedMigrations = embed_migrations!("../migrations/ledger");

/// Whether a write is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Keep {
    /// Commit it.
    Kept,
    /// Do all of it and roll back (`--dry-run`).
    Rehearsed,
}

/// An open stock book.
pub struct StockBook {
    connection: SqliteConnection,
    path: PathBuf,
}

/// How a transaction ends, so that a rehearsal can answer and still roll back.
enum Ending<T, E> {
    Rehearsed(T),
    Failed(E),
}

impl<T, E: From<diesel::result::Error>> From<diesel::result::Error> for Ending<T, E> {
    fn from(error: diesel::result::Error) -> Self {
        Self::Failed(error.into())
    }
}

impl StockBook {
    /// Opens the book at `path`, which must be there.
    pub fn open(path: &Path, wait: Duration) -> Result<Self, BookError> {
        match std::fs::metadata(path) {
            Ok(_) => Self::open_or_create(path, wait),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                Err(BookError::NotThere(path.to_owned()))
            }
            Err(error) => Err(BookError::unreadable(path, &error)),
        }
    }

    /// Opens the book at `path` and makes the file, its folder and its tables where missing.
    pub fn open_or_create(path: &Path, wait: Duration) -> Result<Self, BookError> {
        if let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
            std::fs::create_dir_all(folder)
                .map_err(|error| BookError::unreadable(folder, &error))?;
        }
        let mut book = Self::connect(path, wait)?;
        book.connection.batch_execute("PRAGMA journal_mode = WAL;")?;
        book.bring_up_to_date()?;
        Ok(book)
    }

    /// Opens a file as it is.
    fn connect(path: &Path, wait: Duration) -> Result<Self, BookError> {
        let text = path.to_str().ok_or_else(|| BookError::OddPath(path.to_owned()))?;
        let mut connection = SqliteConnection::establish(text)
            .map_err(|error| BookError::unreadable(path, &error))?;
        connection.batch_execute(&format!(
            "PRAGMA busy_timeout = {}; PRAGMA foreign_keys = ON; PRAGMA synchronous = FULL;",
            wait.as_millis()
        ))?;
        Ok(Self { connection, path: path.to_owned() })
    }

    fn bring_up_to_date(&mut self) -> Result<(), BookError> {
        let pending = self.connection.has_pending_migration(MIGRATIONS);
        if !pending.map_err(|error| BookError::Migration(error.to_string()))? {
            return Ok(());
        }
        self.connection.immediate_transaction(|connection| {
            connection
                .run_pending_migrations(MIGRATIONS)
                .map(|_| ())
                .map_err(|error| BookError::Migration(error.to_string()))
        })
    }

    /// Where the book lies.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Reads from one moment of the book.
    pub fn read<T, E: From<diesel::result::Error>>(
        &mut self,
        work: impl FnOnce(&mut SqliteConnection) -> Result<T, E>,
    ) -> Result<T, E> {
        self.connection.transaction(work)
    }

    /// Writes in one transaction: all of it or, on an error or in a rehearsal, nothing.
    pub fn write<T, E: From<diesel::result::Error>>(
        &mut self,
        keep: Keep,
        work: impl FnOnce(&mut SqliteConnection) -> Result<T, E>,
    ) -> Result<T, E> {
        let whole = |connection: &mut SqliteConnection| {
            let value = work(connection).map_err(Ending::Failed)?;
            planted::reach(Moment::BookWritten);
            match keep {
                Keep::Kept => Ok(value),
                Keep::Rehearsed => Err(Ending::Rehearsed(value)),
            }
        };
        let ended = if planted::is(Bug::LockAfterRead) {
            self.connection.transaction(whole)
        } else {
            self.connection.immediate_transaction(whole)
        };
        match ended {
            Ok(value) => {
                planted::reach(Moment::BookCommitted);
                Ok(value)
            }
            Err(Ending::Rehearsed(value)) => Ok(value),
            Err(Ending::Failed(error)) => Err(error),
        }
    }
}
