//! The mark beside a book: whose it is and how often it was written, so that a book that lost its
//! last writes (its write-ahead log is damaged, gone or another's) or was replaced by an older one
//! is noticed. Inside the file nothing can tell: an older book is whole.
//!
//! It is written after what it speaks of is durable, and never waited for: a mark that lags behind
//! or can't be read says nothing. What may not enter: anything that is needed to read a book.

use std::ffi::OsString;
use std::io::Write;
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use super::seals::hex;

/// What was last noted of a book.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mark {
    /// The farm's id.
    pub farm: String,
    /// How often the book was written.
    pub writes: i64,
}

impl Mark {
    fn line(&self) -> String {
        let said = format!("{} {:020}", self.farm, self.writes);
        let check = hex(&Sha256::digest(&said)[..8]);
        format!("{said} {check}\n")
    }
}

/// The file beside a book.
pub fn path_beside(book: &Path) -> PathBuf {
    let mut name = book.file_name().map_or_else(OsString::new, ToOwned::to_owned);
    name.push(".mark");
    book.with_file_name(name)
}

/// The mark of a book, if there is one that can be read.
pub fn read(book: &Path) -> Option<Mark> {
    let text = std::fs::read_to_string(path_beside(book)).ok()?;
    let mut parts = text.split(' ');
    let mark = Mark { farm: parts.next()?.to_owned(), writes: parts.next()?.parse().ok()? };
    (mark.line() == text).then_some(mark)
}

/// Writes the mark, best effort.
pub fn put(book: &Path, mark: &Mark) {
    let file = std::fs::OpenOptions::new()
        .write(true)
        .create(true)
        .truncate(false)
        .open(path_beside(book));
    // Every mark has the same length, so one write replaces the one before.
    let _ = file.and_then(|mut file| file.write_all(mark.line().as_bytes()));
}

/// Takes the mark away: what lies there next is another book.
pub fn forget(book: &Path) {
    let _ = std::fs::remove_file(path_beside(book));
}
