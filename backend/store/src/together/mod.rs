//! Writers on SQLite share a commit: many acts, one wait for the disk.
//!
//! SQLite has one writer, and making a commit durable costs it some milliseconds whatever is in it.
//! So a writer waits for its turn, runs its act within a savepoint of the transaction that is open,
//! and hands the turn to the next one in line. Whoever has nobody behind them commits for all, and
//! only then is anybody answered. Nobody waits for company: with one writer at a time this is one
//! commit an act, as before.
//!
//! - An act that fails rolls back its own savepoint; the others don't notice.
//! - Whoever was *refused* waits for the commit, too: the refusal may rest on what an act before it
//!   wrote, and if that is not kept, the refusal was never right.
//! - If the transaction as a whole is lost, nobody's act is kept. Those who did not bring that about
//!   are told that they got in each other's way, upon which [`Store::write`] does their acts again.
//! - Acts run in their callers' own threads, so nothing has to outlive a call, and a panic stays
//!   where it belongs.
//!
//! What may not enter: what an act does; PostgreSQL, whose server shares commits by itself.
//!
//! [`Store::write`]: crate::Store::write

use std::collections::VecDeque;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use diesel::connection::TransactionManager;
use diesel::r2d2::PooledConnection;

use crate::connection::{AnyConnection, Manager, Use};
use crate::store::LedgerSeen;
use crate::{OutageKind, StoreError};

/// Most acts of one transaction, so that the first of them is answered before long.
const MOST: usize = 64;

type Transactions = <AnyConnection as diesel::Connection>::TransactionManager;

/// The line of writers.
#[derive(Default)]
pub(crate) struct Together {
    line: Mutex<Line>,
}

#[derive(Default)]
struct Line {
    /// Whether somebody has the turn.
    at_work: bool,
    waiting: VecDeque<Arc<Waiter>>,
    /// What is handed from one turn to the next.
    open: Option<Open>,
}

#[derive(Default)]
struct Waiter {
    /// Written under the line's lock.
    called: AtomicBool,
    bell: Condvar,
}

/// A transaction in which acts have been done and which is not committed.
pub(crate) struct Open {
    connection: PooledConnection<Manager>,
    ledger: LedgerSeen,
    /// Acts that took part.
    acts: usize,
    /// Those of them that stand.
    kept: usize,
    fate: Arc<Fate>,
}

/// What became of a transaction, for all who took part in it.
#[derive(Default)]
struct Fate {
    told: Mutex<Option<Result<(), StoreError>>>,
    bell: Condvar,
}

impl Fate {
    fn tell(&self, fate: Result<(), StoreError>) {
        *self.told.lock().unwrap_or_else(PoisonError::into_inner) = Some(fate);
        self.bell.notify_all();
    }

    fn hear(&self) -> Result<(), StoreError> {
        let mut told = self.told.lock().unwrap_or_else(PoisonError::into_inner);
        loop {
            if let Some(fate) = told.as_ref() {
                return fate.clone();
            }
            told = self.bell.wait(told).unwrap_or_else(PoisonError::into_inner);
        }
    }
}

/// What an act left of its own part of the transaction.
pub(crate) enum Part {
    /// It stands.
    Kept,
    /// It is rolled back, as far as the act goes; the transaction goes on.
    RolledBack,
}

impl Together {
    /// Waits for the turn, for as long as `patience`, and opens a transaction unless one is open.
    pub(crate) fn turn(
        &self,
        patience: Duration,
        open: impl FnOnce() -> Result<PooledConnection<Manager>, StoreError>,
    ) -> Result<Turn<'_>, StoreError> {
        let found = self.wait(patience)?;
        // From here on the turn is passed on by being dropped.
        let mut turn = Turn { line: self, open: found };
        if turn.open.is_none() {
            let mut connection = open()?;
            connection.begin(Use::Write)?;
            let (ledger, fate) = (LedgerSeen::default(), Arc::default());
            turn.open = Some(Open { connection, ledger, acts: 0, kept: 0, fate });
        }
        Ok(turn)
    }

    fn wait(&self, patience: Duration) -> Result<Option<Open>, StoreError> {
        let mut line = self.lock();
        if !line.at_work {
            line.at_work = true;
            return Ok(line.open.take());
        }
        let me = Arc::new(Waiter::default());
        line.waiting.push_back(Arc::clone(&me));
        let until = Instant::now() + patience;
        while !me.called.load(Ordering::Relaxed) {
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() {
                line.waiting.retain(|other| !Arc::ptr_eq(other, &me));
                return Err(StoreError::outage(OutageKind::Busy, "too many writers wait in line"));
            }
            line = me.bell.wait_timeout(line, left).unwrap_or_else(PoisonError::into_inner).0;
        }
        Ok(line.open.take())
    }

    /// How many stand in line behind the one at work, if anybody is.
    #[cfg(test)]
    pub(crate) fn standing(&self) -> Option<usize> {
        let line = self.lock();
        line.at_work.then(|| line.waiting.len())
    }

    fn lock(&self) -> MutexGuard<'_, Line> {
        self.line.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The one writer who may touch the database now. Dropped, it lets the next one.
pub(crate) struct Turn<'line> {
    line: &'line Together,
    /// None once the transaction has ended.
    open: Option<Open>,
}

impl Turn<'_> {
    /// Runs an act in its own part of the transaction. `act` says what is to become of the part; an
    /// error that it gives has ended the whole transaction.
    pub(crate) fn act<T>(
        &mut self,
        act: impl FnOnce(&mut AnyConnection, LedgerSeen) -> (T, Part, LedgerSeen),
    ) -> Result<T, StoreError> {
        let Some(open) = &mut self.open else {
            return Err(StoreError::broken("an act without a transaction"));
        };
        if let Err(error) = Transactions::begin_transaction(&mut *open.connection) {
            return Err(self.lose(error.into()));
        }
        let ledger = std::mem::take(&mut open.ledger);
        let (done, part, ledger) = act(&mut open.connection, ledger);
        open.ledger = ledger;
        open.acts += 1;
        // Where SQLite rolled back the transaction by itself, as on a full disk, there is no
        // savepoint any more, and both of these say so.
        let ended = match part {
            Part::Kept => Transactions::commit_transaction(&mut *open.connection),
            Part::RolledBack => Transactions::rollback_transaction(&mut *open.connection),
        };
        match (ended, part) {
            (Ok(()), Part::Kept) => {
                open.kept += 1;
                Ok(done)
            }
            (Ok(()), Part::RolledBack) => Ok(done),
            (Err(error), Part::Kept) => Err(self.lose(error.into())),
            (Err(error), Part::RolledBack) => {
                // What the act itself says of it is the better answer.
                self.lose(error.into());
                Ok(done)
            }
        }
    }

    /// Hands the transaction to the next in line, or commits it; comes back when it is committed.
    pub(crate) fn end(mut self) -> Result<(), StoreError> {
        let Some(open) = self.open.take() else {
            // Lost, and what the act says of it is the answer.
            return Ok(());
        };
        let fate = Arc::clone(&open.fate);
        let mut line = self.line.lock();
        if open.acts < MOST && !line.waiting.is_empty() {
            line.open = Some(open);
            drop(line);
            // The turn goes on with the transaction in it.
            drop(self);
            return fate.hear();
        }
        drop(line);
        let Open { mut connection, kept, .. } = open;
        let committed = if kept > 0 {
            connection.commit()
        } else {
            // Nothing was done, so nothing can be lost: a connection that says no is thrown away.
            connection.roll_back().ok();
            Ok(())
        };
        // The pool has to have it again before the next one asks for it.
        drop(connection);
        fate.tell(committed.clone());
        committed
    }

    /// Gives the transaction up. The others will do their acts again.
    fn lose(&mut self, why: StoreError) -> StoreError {
        if let Some(open) = self.open.take() {
            // The pool throws away a connection that comes back within a transaction, and SQLite
            // rolls back what is thrown away.
            drop(open.connection);
            let log = why.log_text().unwrap_or_default().to_owned();
            open.fate.tell(Err(StoreError::outage(OutageKind::Contended, log)));
        }
        why
    }
}

impl Drop for Turn<'_> {
    fn drop(&mut self) {
        // Only where an act was cut short.
        if self.open.is_some() {
            self.lose(StoreError::broken("a writer left its transaction open"));
        }
        let mut line = self.line.lock();
        match line.waiting.pop_front() {
            Some(next) => {
                next.called.store(true, Ordering::Relaxed);
                next.bell.notify_one();
            }
            None => line.at_work = false,
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;
