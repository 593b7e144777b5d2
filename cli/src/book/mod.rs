//! The stock book's file: SQLite through diesel.
//!
//! Every write is one `BEGIN IMMEDIATE` transaction that reads the head of the chain inside, so
//! that two programs on one file never take the same place; `synchronous=FULL`, so that what a
//! command says is noted survives a power cut. What may not enter: rules of the trade, HTTP, and
//! secrets (those lie in a file of their own, [`keys`]).

pub mod acts;
pub mod backup;
pub mod carry;
pub mod chains;
pub mod copies;
pub mod entries;
mod error;
pub mod farm;
pub mod folded;
pub mod imports;
pub mod keys;
pub mod link;
pub mod mark;
mod names;
pub mod network;
mod opening;
pub mod parked;
mod schema;
mod seals;
pub mod undone;
pub mod values;

use std::path::{Path, PathBuf};
use std::time::Duration;

use diesel::prelude::*;
use diesel::sqlite::SqliteConnection;

use spareloop_domain::planted::{self, Bug, Moment};

pub use error::{BookError, NOTHING_NOTED, sentence as error_sentence};
use mark::Mark;

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
    wait: Duration,
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
    /// Where the book lies.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// How long it waits for another program's write.
    const fn wait(&self) -> Duration {
        self.wait
    }

    /// Reads from one moment of the book.
    pub fn read<T, E: From<diesel::result::Error>>(
        &mut self,
        work: impl FnOnce(&mut SqliteConnection) -> Result<T, E>,
    ) -> Result<T, E> {
        self.connection.transaction(work)
    }

    /// Writes in one transaction: all of it or, on an error or in a rehearsal, nothing. What was
    /// changed is sealed in the same transaction.
    pub fn write<T, E: From<diesel::result::Error>>(
        &mut self,
        keep: Keep,
        work: impl FnOnce(&mut SqliteConnection) -> Result<T, E>,
    ) -> Result<T, E> {
        let mut mark = None;
        // On a full disk SQLite rolls back by itself, and rolling back again fails: what went wrong
        // first is what is said.
        let mut first = None;
        let whole = |connection: &mut SqliteConnection| {
            let before = seals::changes(connection)?;
            let value = work(connection).map_err(|error| {
                first = Some(error);
                Ending::Failed(diesel::result::Error::RollbackTransaction.into())
            })?;
            if keep == Keep::Rehearsed {
                return Err(Ending::Rehearsed(value));
            }
            if seals::changes(connection)? != before {
                let writes = seals::renew(connection)?;
                mark = farm::raw_id(connection)?.map(|farm| Mark { farm, writes });
            }
            planted::reach(Moment::BookWritten);
            Ok(value)
        };
        let ended = if planted::is(Bug::LockAfterRead) {
            self.connection.transaction(whole)
        } else {
            self.connection.immediate_transaction(whole)
        };
        match ended {
            Ok(value) => {
                planted::reach(Moment::BookCommitted);
                if let Some(mark) = mark {
                    mark::put(&self.path, &mark);
                }
                Ok(value)
            }
            Err(Ending::Rehearsed(value)) => Ok(value),
            Err(Ending::Failed(error)) => Err(first.unwrap_or(error)),
        }
    }
}
