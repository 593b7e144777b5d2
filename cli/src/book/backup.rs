//! A copy of the book, verified before it is called one, and putting one back.

use std::ffi::OsString;
use std::fs::File;
use std::io::Error as SystemError;
use std::path::{Path, PathBuf};
use std::time::Duration;

use diesel::prelude::*;
use diesel::sql_types::Text;
use spareloop_domain::ledger::Entry;

use super::chains::Follower;
use super::names::sync_name;
use super::{BookError, StockBook, entries, farm, seals};

#[derive(QueryableByName)]
struct Verdict {
    #[diesel(sql_type = Text)]
    integrity_check: String,
}

/// What a copy holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Copied {
    /// The farm's name.
    pub farm: String,
    /// How many entries.
    pub entries: u64,
}

impl StockBook {
    /// Writes a copy to `target`, which must not exist, and verifies it. While another program
    /// writes, the copy is the book of one moment.
    ///
    /// `VACUUM INTO` makes it: one read transaction, as SQLite's online backup, without that
    /// interface's way of starting over whenever somebody writes, and it reads every row.
    pub fn copy_to(&mut self, target: &Path, wait: Duration) -> Result<Copied, BookError> {
        self.write_copy(target)?;
        verify(target, wait)
    }

    /// Writes a copy that has its name only once it is whole.
    pub(super) fn write_copy(&mut self, target: &Path) -> Result<(), BookError> {
        let wrong = |error: SystemError| BookError::unreadable(target, &error);
        if target.exists() {
            return Err(BookError::unreadable(target, &"it is there already"));
        }
        if let Some(folder) = target.parent().filter(|folder| !folder.as_os_str().is_empty()) {
            std::fs::create_dir_all(folder).map_err(wrong)?;
        }
        let partial = with_ending(target, ".partial");
        let _ = std::fs::remove_file(&partial);
        let text = partial.to_str().ok_or_else(|| BookError::OddPath(target.to_owned()))?;
        let made = diesel::sql_query("VACUUM INTO ?")
            .bind::<Text, _>(text)
            .execute(&mut self.connection)
            .map_err(BookError::from)
            .and_then(|_| {
                File::open(&partial).and_then(|file| file.sync_all()).map_err(wrong)?;
                std::fs::rename(&partial, target).map_err(wrong)?;
                sync_name(target).map_err(wrong)
            });
        if made.is_err() {
            let _ = std::fs::remove_file(&partial);
        }
        made
    }

    /// Reads the whole file through: its pages and indexes, every seal, every entry's hash, every
    /// chain to its end.
    pub fn verify(&mut self) -> Result<Copied, BookError> {
        let verdicts: Vec<Verdict> =
            diesel::sql_query("PRAGMA integrity_check").load(&mut self.connection)?;
        if let Some(bad) = verdicts.iter().find(|verdict| verdict.integrity_check != "ok") {
            return Err(BookError::Damaged(bad.integrity_check.clone()));
        }
        self.read(|connection| {
            if !seals::are_there(connection)? {
                return Err(BookError::Damaged("its seals are missing".to_owned()));
            }
            seals::verify_small(connection)?;
            seals::verify(connection, seals::IMPORTED)?;
            let farm = farm::get(connection)?;
            Ok(Copied { farm: farm.name, entries: entries::all(connection)?.len() as u64 })
        })
    }
}

/// Verifies a copy without changing it: one with tables of before is brought up to date elsewhere.
pub fn verify(path: &Path, wait: Duration) -> Result<Copied, BookError> {
    if let Some(mut book) = StockBook::open_as_it_is(path, wait)? {
        return book.verify();
    }
    let elsewhere = format!("spareloop-verifying-{}.sqlite", std::process::id());
    Incoming::of(path, &std::env::temp_dir().join(elsewhere), wait)?.book.verify()
}

/// A copy of a copy, on its way into a book's place. It goes when dropped.
pub struct Incoming {
    /// The copy, verified and of this version. Closed before its file goes.
    pub book: StockBook,
    _file: Temporary,
}

/// A file that goes when dropped, with what lies beside it.
struct Temporary(PathBuf);

impl Drop for Temporary {
    fn drop(&mut self) {
        remove(&self.0);
    }
}

impl Incoming {
    /// Copies a copy, with what stands in its write-ahead log, and brings it up to date.
    fn of(copy: &Path, path: &Path, wait: Duration) -> Result<Self, BookError> {
        let wrong = |error: SystemError| BookError::unreadable(copy, &error);
        if !copy.exists() {
            return Err(BookError::NotThere(copy.to_owned()));
        }
        remove(path);
        if let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
            std::fs::create_dir_all(folder).map_err(wrong)?;
        }
        let file = Temporary(path.to_owned());
        std::fs::copy(copy, path).map_err(wrong)?;
        let log = with_ending(copy, "-wal");
        if log.exists() {
            std::fs::copy(log, with_ending(path, "-wal")).map_err(wrong)?;
        }
        Ok(Self { book: StockBook::open(path, wait)?, _file: file })
    }

    /// Copies a copy to beside a book and verifies it there.
    pub fn beside(book: &Path, copy: &Path, wait: Duration) -> Result<(Self, Copied), BookError> {
        let mut incoming = Self::of(copy, &with_ending(book, ".incoming"), wait)?;
        let copied = incoming.book.verify()?;
        Ok((incoming, copied))
    }
}

fn remove(path: &Path) {
    for ending in ["", "-wal", "-shm"] {
        let _ = std::fs::remove_file(with_ending(path, ending));
    }
    super::mark::forget(path);
    let _ = std::fs::remove_dir_all(super::copies::folder(path));
}

/// Puts a verified copy in a book's place. What was there is kept beside it, under a name with
/// `wall_millis`; answers that name.
pub fn put_in_place(
    mut incoming: Incoming,
    book: &Path,
    wall_millis: u64,
    wait: Duration,
) -> Result<Option<PathBuf>, BookError> {
    let wrong = |error: SystemError| BookError::unreadable(book, &error);
    // Moves what stands in the write-ahead log into the file, which then is all there is.
    let ready = with_ending(book, ".ready");
    remove(&ready);
    incoming.book.write_copy(&ready)?;
    drop(incoming);
    let aside = if book.exists() {
        let aside = with_ending(book, &format!(".before-{wall_millis}"));
        for ending in ["", "-wal", "-shm", ".mark"] {
            let part = with_ending(book, ending);
            if part.exists() {
                std::fs::rename(part, with_ending(&aside, ending)).map_err(wrong)?;
            }
        }
        Some(aside)
    } else {
        remove_log(book);
        None
    };
    std::fs::rename(&ready, book).map_err(wrong)?;
    if let Some(folder) = book.parent().and_then(|folder| File::open(folder).ok()) {
        // The swap of names is to outlast a power cut; a system that can't promise it still has it.
        let _ = folder.sync_all();
    }
    StockBook::open(book, wait)?.renew_mark()?;
    Ok(aside)
}

/// A log without its book would be taken for the new one's.
fn remove_log(book: &Path) {
    for ending in ["-wal", "-shm", ".mark"] {
        let _ = std::fs::remove_file(with_ending(book, ending));
    }
}

fn with_ending(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.file_name().map_or_else(OsString::new, ToOwned::to_owned);
    name.push(ending);
    path.with_file_name(name)
}

/// Checks every hash and that every chain is 1, 2, 3 ... with each entry naming the one before.
/// The entries must come chain by chain, in order.
pub fn verify_chains(all: &[Entry]) -> Result<(), BookError> {
    let mut follower = Follower::default();
    for entry in all {
        entry.verify()?;
        follower.take(entry, None)?;
    }
    Ok(())
}
