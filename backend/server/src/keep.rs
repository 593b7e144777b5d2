//! Keeping the embedded database: one server at a time, copies, putting a copy back.
//!
//! What may not enter: PostgreSQL, which has its own tools.

use std::fs::{File, TryLockError};
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::{Path, PathBuf};
use std::time::Duration;

use chrono::{DateTime, Utc};
use spareloop_store::{DatabaseUrl, Store, StoreError, check_copy, devices};

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
        reason: StoreError,
    },
    /// There is a file where the copy was to go.
    #[error("{0} is there already")]
    Exists(PathBuf),
    /// PostgreSQL has its own tools.
    #[error("restore is for the embedded database; this server uses PostgreSQL")]
    NotEmbedded,
    /// The database says no.
    #[error("{0}")]
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
            Self::InUse(_) => "Stop that server first.",
            Self::Damaged { .. } => "Nothing was changed. Try an older copy.",
            Self::Exists(_) => "Name a new file: no copy is ever overwritten.",
            Self::NotEmbedded => "Use pg_restore, then start the server with a new epoch.",
            Self::Store(_) | Self::System { .. } => {
                "Nothing was changed; see to the disk and try again."
            }
        }
    }

    /// The exit code for it.
    pub const fn exit_code(&self) -> u8 {
        match self {
            Self::Damaged { .. } | Self::Exists(_) | Self::NotEmbedded => 3,
            Self::InUse(_) | Self::Store(_) | Self::System { .. } => 1,
        }
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

/// A path where nothing is yet.
pub fn new_file(path: &Path) -> Result<PathBuf, KeepError> {
    if path.exists() { Err(KeepError::Exists(path.to_owned())) } else { Ok(path.to_owned()) }
}

/// Puts a copy in the place of the database; what was there is kept aside.
///
/// The copy gets a new epoch and every farm a new house device, so that devices notice and send
/// again what the copy lacks. Answers what was done, in words.
pub fn restore(url: &DatabaseUrl, copy: &Path, now: DateTime<Utc>) -> Result<String, KeepError> {
    let database = url.file().ok_or(KeepError::NotEmbedded)?;
    if let Some(folder) = database.parent() {
        std::fs::create_dir_all(folder).map_err(system(folder))?;
    }
    let _lock = Lock::take(database)?;
    let damaged = |reason| KeepError::Damaged { path: copy.to_owned(), reason };
    if !copy.is_file() {
        let reason = std::io::Error::from(std::io::ErrorKind::NotFound);
        return Err(KeepError::System { path: copy.to_owned(), reason });
    }
    check_copy(copy).map_err(damaged)?;
    let prepared = prepare(database, copy, now)?;
    let aside = set_aside(database, now)?;
    std::fs::rename(&prepared, database).map_err(system(database))?;
    let kept = aside.map_or_else(
        || "There was no database before.".to_owned(),
        |aside| format!("What was there before is kept in {}.", aside.display()),
    );
    Ok(format!(
        "The copy {} is in place. {kept}\nStart the server; devices send again what it lacks.",
        copy.display()
    ))
}

/// Makes a whole file beside the database from the copy, with its new epoch and house devices.
fn prepare(database: &Path, copy: &Path, now: DateTime<Utc>) -> Result<PathBuf, KeepError> {
    let (working, prepared) = (beside(database, ".restoring"), beside(database, ".restored"));
    let clear = || {
        for ending in ["", "-wal", "-shm"] {
            let _ = std::fs::remove_file(beside(&working, ending));
        }
    };
    clear();
    let _ = std::fs::remove_file(&prepared);
    std::fs::copy(copy, &working).map_err(system(&working))?;
    let made = (|| {
        let store = Store::open(&DatabaseUrl::Sqlite(working.clone()))?;
        store.write(|tx| devices::new_house_devices(tx, now))?;
        store.new_epoch()?;
        store.backup_to(&prepared)
    })();
    clear();
    made?;
    Ok(prepared)
}

fn set_aside(database: &Path, now: DateTime<Utc>) -> Result<Option<PathBuf>, KeepError> {
    if !database.exists() {
        return Ok(None);
    }
    let aside = beside(database, &now.format(".replaced-%Y%m%dT%H%M%S%6f").to_string());
    // The write-ahead log belongs to the file and is found by its name.
    for ending in ["", "-wal", "-shm"] {
        let part = beside(database, ending);
        if part.exists() {
            std::fs::rename(&part, beside(&aside, ending)).map_err(system(&part))?;
        }
    }
    Ok(Some(aside))
}

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
