//! Keeping the database: one server at a time, copies, putting a copy back.
//!
//! ```text
//! embedded   SQLite: a copy is put in by swapping names
//! cluster    PostgreSQL: its own programs make, read and put in
//! nightly    the day's copy, made by the server itself
//! ```
//!
//! Whatever the database: a copy is read through before it is called one, nothing is ever written
//! over, and a restored database begins a new life (`Store::open_restored`), so that devices send
//! again what it lacks.

mod cluster;
mod embedded;
pub mod nightly;

use std::fs::{File, TryLockError};
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::{Path, PathBuf};
use std::time::Duration;

use chrono::{DateTime, Utc};
use spareloop_store::{Checked, DatabaseUrl, Store, StoreError};

/// Why a copy wasn't made or put back. What was there before is there still.
#[derive(Debug, thiserror::Error)]
pub enum KeepError {
    /// A server works on the file.
    #[error("a server is running on {0}")]
    InUse(PathBuf),
    /// The copy is damaged or none of ours.
    #[error("{path} is not a whole copy of a server's book: {reason}")]
    Damaged {
        /// Which.
        path: PathBuf,
        /// Why.
        reason: String,
    },
    /// There is a file where the copy was to go.
    #[error("{0} is there already")]
    Exists(PathBuf),
    /// A server works on the database.
    #[error("a server is running on this database")]
    Served,
    /// A copy is being put into the database.
    #[error("a copy is being put back into this database")]
    BeingRestored,
    /// There are tables already.
    #[error("there is something in this database already")]
    NotEmpty,
    /// A program of PostgreSQL's isn't there.
    #[error("{program} of PostgreSQL {wanted} or later is needed and {found}")]
    NoProgram {
        /// Which.
        program: &'static str,
        /// The server's main version.
        wanted: u32,
        /// What was found instead.
        found: String,
    },
    /// A program of PostgreSQL's failed.
    #[error("{program} failed: {said}")]
    Program {
        /// Which.
        program: &'static str,
        /// What it said.
        said: String,
    },
    /// A flag for PostgreSQL was given with the embedded database.
    #[error("{0} is for PostgreSQL; the embedded database needs no such flag")]
    OnlyForPostgresql(&'static str),
    /// The database says no.
    #[error("{error}{log}", error = .0, log = log_of(.0))]
    Store(#[from] StoreError),
    /// The operating system says no.
    #[error("{path}: {reason}")]
    System {
        /// Which file.
        path: PathBuf,
        /// Why.
        reason: std::io::Error,
    },
}

impl KeepError {
    /// What to do next.
    pub const fn hint(&self) -> &'static str {
        match self {
            Self::InUse(_) | Self::Served => "Nothing was changed. Stop that server first.",
            Self::Damaged { .. } => "Nothing was changed. Try an older copy.",
            Self::Exists(_) => "Name a new file: no copy is ever overwritten.",
            Self::NotEmpty => {
                "Nothing was changed. Give an empty database, or --replace: what is there is copied first."
            }
            Self::NoProgram { .. } => {
                "Install PostgreSQL's client programs of that version, or name their folder with --pg-bin."
            }
            Self::OnlyForPostgresql(_) => "Leave it out.",
            Self::BeingRestored => "Start the server when that is done.",
            Self::Store(StoreError::Corrupt { .. }) => {
                "No copy was made. Stop the server and put one back: spareloop-server restore FILE"
            }
            Self::Program { .. } | Self::Store(_) | Self::System { .. } => {
                "Nothing was changed; see to the disk and the database and try again."
            }
        }
    }

    /// The exit code for it.
    pub const fn exit_code(&self) -> u8 {
        match self {
            Self::Damaged { .. }
            | Self::Exists(_)
            | Self::NotEmpty
            | Self::OnlyForPostgresql(_) => 3,
            _ => 1,
        }
    }
}

/// What only the log and the one at the keyboard may hear of a store's error, in brackets.
pub(crate) fn log_of(error: &StoreError) -> String {
    error.log_text().map_or_else(String::new, |log| format!(" ({log})"))
}

fn damaged(path: &Path) -> impl Fn(StoreError) -> KeepError {
    let path = path.to_owned();
    move |reason| KeepError::Damaged {
        path: path.clone(),
        reason: format!("{reason}{}", log_of(&reason)),
    }
}

fn system(path: &Path) -> impl FnOnce(std::io::Error) -> KeepError {
    let path = path.to_owned();
    move |reason| KeepError::System { path, reason }
}

/// Held while a server works on a file, so that no other does and nothing is put in its place.
#[derive(Debug)]
pub struct Lock(#[allow(dead_code)] File);

impl Lock {
    /// Takes the lock of a database file. It goes with the process, also when that is killed.
    pub fn take(database: &Path) -> Result<Self, KeepError> {
        let path = beside(database, ".lock");
        let file = File::options()
            .write(true)
            .create(true)
            .truncate(false)
            .open(&path)
            .map_err(system(&path))?;
        match file.try_lock() {
            Ok(()) => Ok(Self(file)),
            Err(TryLockError::WouldBlock) => Err(KeepError::InUse(database.to_owned())),
            Err(TryLockError::Error(reason)) => Err(KeepError::System { path, reason }),
        }
    }
}

fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    name.into()
}

/// How far a copy is tried.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trial {
    /// It is read through.
    Read,
    /// Besides, a copy of PostgreSQL is put into a scratch database and followed there.
    Drill,
}

/// What becomes of what is in the database before a copy is put into it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Present {
    /// PostgreSQL's has to be empty. The embedded file is always kept aside.
    Refused,
    /// It is copied to a file, then replaced.
    Replaced,
}

/// Where copies are made and put back: the store's address, and where PostgreSQL's programs are.
#[derive(Debug, Clone)]
pub struct Keeper {
    /// The database.
    pub url: DatabaseUrl,
    /// The folder of PostgreSQL's programs, if it was named.
    pub programs: Option<PathBuf>,
}

impl Keeper {
    /// Writes a copy to a file that isn't there yet, while servers run or not, and reads it through.
    pub fn back_up(&self, store: &Store, copy: &Path, trial: Trial) -> Result<Checked, KeepError> {
        if copy.exists() {
            return Err(KeepError::Exists(copy.to_owned()));
        }
        match (&self.url, trial) {
            (DatabaseUrl::Sqlite(_), Trial::Read) => Ok(store.backup_to(copy)?),
            (DatabaseUrl::Sqlite(_), Trial::Drill) => Err(KeepError::OnlyForPostgresql("--drill")),
            (DatabaseUrl::Postgres(_), _) => cluster::back_up(self, store, copy, trial),
        }
    }

    /// Puts a copy in the place of the database, and answers in words what was done. `folder` takes
    /// what has to be kept of PostgreSQL's.
    pub fn restore(
        &self,
        copy: &Path,
        present: Present,
        folder: &Path,
        now: DateTime<Utc>,
    ) -> Result<String, KeepError> {
        if !copy.is_file() {
            let reason = std::io::Error::from(std::io::ErrorKind::NotFound);
            return Err(KeepError::System { path: copy.to_owned(), reason });
        }
        match (&self.url, present) {
            (DatabaseUrl::Sqlite(database), Present::Refused) => {
                embedded::restore(database, copy, now)
            }
            (DatabaseUrl::Sqlite(_), Present::Replaced) => {
                Err(KeepError::OnlyForPostgresql("--replace"))
            }
            (DatabaseUrl::Postgres(_), _) => cluster::restore(self, copy, present, folder, now),
        }
    }
}

/// What a restored server lacks, for the one who restored it.
const AFTERWARDS: &str = "Start the server; devices send again what it lacks of the farms' stock \
    books.\nOffers, wants, holds, receipts, owed postings and sign-ins made after the copy are not in \
    it: every farm is told so on its page.";

/// Asks the server on this machine whether it can answer; `None` when it can't.
pub fn ask_health(address: SocketAddr) -> Option<()> {
    const PATIENCE: Duration = Duration::from_secs(4);
    let mut stream = TcpStream::connect_timeout(&address, PATIENCE).ok()?;
    stream.set_read_timeout(Some(PATIENCE)).ok()?;
    stream.set_write_timeout(Some(PATIENCE)).ok()?;
    let request =
        format!("GET /health/ready HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n");
    stream.write_all(request.as_bytes()).ok()?;
    let mut answer = [0; 12];
    stream.read_exact(&mut answer).ok()?;
    (&answer == b"HTTP/1.1 200").then_some(())
}
