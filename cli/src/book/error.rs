//! What can be wrong with the book's file.

use std::path::{Path, PathBuf};

use diesel::result::{DatabaseErrorKind, Error as DieselError};
use spareloop_domain::ledger::EntryError;

use crate::fault::Fault;

/// What can be wrong with the book's file.
#[derive(Debug, thiserror::Error)]
pub enum BookError {
    /// No file.
    #[error("there is no stock book at {}", .0.display())]
    NotThere(PathBuf),
    /// A book without a farm: `farm init` never ended.
    #[error("the stock book holds no farm yet")]
    NoFarm,
    /// The file or its folder can't be opened.
    #[error("the path {} can't be opened: {why}", path.display())]
    Unreadable {
        /// Which.
        path: PathBuf,
        /// What the system says.
        why: String,
    },
    /// A path that SQLite can't be given.
    #[error("the path {} can't be used: it isn't UTF-8", .0.display())]
    OddPath(PathBuf),
    /// Another program writes.
    #[error("another program is writing to this stock book")]
    Busy,
    /// No room on the disk.
    #[error("the disk is full")]
    DiskFull,
    /// A write or a sync was refused, and the database doesn't say why.
    #[error("the disk is full, or it fails")]
    DiskFails,
    /// The file or its folder may not be written.
    #[error("the stock book can't be written to: it or its folder is read-only")]
    ReadOnly,
    /// Not a book, or a damaged one.
    #[error("the stock book's file is damaged or no stock book: {0}")]
    Damaged(String),
    /// A database with other tables.
    #[error("the file {} is no stock book: another program made it", .0.display())]
    NotOurs(PathBuf),
    /// Its tables are of a later version than this program knows.
    #[error("the stock book was made by a newer version of spareloop (its tables are of {0})")]
    Newer(String),
    /// Inside it is whole, but older than what was noted beside it, or another farm's.
    #[error("the stock book lost its last writes: it was written {noted} times, and here are {}",
        found.map_or_else(|| "none of them".to_owned(), |found| format!("the first {found}")))]
    LostWrites {
        /// How often it was written, as noted beside it.
        noted: i64,
        /// How often by what is in it, if it is this farm's at all.
        found: Option<i64>,
    },
    /// A row that this program can't have written.
    #[error("a row of the stock book can't be read: {0}")]
    OddRow(String),
    /// Tables can't be brought up to date.
    #[error("the stock book can't be brought up to date: {0}")]
    Migration(String),
    /// An entry can't be sealed or doesn't match its hash.
    #[error(transparent)]
    Entry(#[from] EntryError),
    /// Anything else of the database.
    #[error("the stock book answers: {0}")]
    Database(DieselError),
}

impl BookError {
    /// A path that the system refuses.
    pub fn unreadable(path: &Path, why: &dyn std::fmt::Display) -> Self {
        Self::Unreadable { path: path.to_owned(), why: why.to_string() }
    }
}

impl From<DieselError> for BookError {
    fn from(error: DieselError) -> Self {
        let DieselError::DatabaseError(kind, info) = &error else {
            // A text that is none, a number where a text was written.
            let DieselError::DeserializationError(why) = &error else {
                return Self::Database(error);
            };
            return Self::Damaged(why.to_string());
        };
        let message = info.message();
        match kind {
            _ if message.contains("locked") => Self::Busy,
            DatabaseErrorKind::ReadOnlyTransaction => Self::ReadOnly,
            // On a disk that is read-only as a whole, no log can be laid beside the book.
            _ if message.contains("readonly") || message.contains("unable to open") => {
                Self::ReadOnly
            }
            _ if message.contains("is full") => Self::DiskFull,
            _ if message.contains("disk I/O error") => Self::DiskFails,
            // What this program asks fits its own tables, so an answer that they differ is damage.
            _ if [
                "not a database",
                "malformed",
                "no such ",
                "unknown function",
                "unsupported file format",
            ]
            .iter()
            .any(|sign| message.contains(sign)) =>
            {
                Self::Damaged(message.to_owned())
            }
            _ => Self::Database(error),
        }
    }
}

const GO_BACK: &str = "Go back to a copy: spareloop backup restore FILE   \
                       (copies that are here: spareloop backup list)";
const LEAVE_IT: &str = "Nothing was written to it; leave the file as it is.";

/// What was kept when a command's one transaction failed.
pub const NOTHING_NOTED: &str =
    "Nothing of this command was noted; what the book held before is kept.";

impl From<BookError> for Fault {
    fn from(error: BookError) -> Self {
        let what = sentence(&error.to_string());
        let nothing_lost = NOTHING_NOTED;
        match error {
            BookError::NotThere(_) | BookError::NoFarm => Self::failed(
                what,
                "Begin one with: spareloop farm init   (or name it with --book FILE)",
            ),
            BookError::Busy => {
                Self::failed(what, "Wait until it is done, then give the command again.")
                    .keeping(nothing_lost)
            }
            BookError::DiskFull => {
                Self::failed(what, "Make room on the disk, then give the command again.")
                    .keeping(nothing_lost)
            }
            BookError::DiskFails => Self::failed(
                what,
                "Make room on the disk; if there is room, copy the book to another one \
                 (spareloop backup make FILE). Then give the command again.",
            )
            .keeping(nothing_lost),
            BookError::ReadOnly | BookError::Unreadable { .. } | BookError::OddPath(_) => {
                Self::failed(
                    what,
                    "Check the path and who may write to the file and its folder, then try again.",
                )
                .keeping(nothing_lost)
            }
            BookError::Damaged(_) | BookError::OddRow(_) | BookError::Migration(_) => {
                Self::failed(what, GO_BACK).keeping(LEAVE_IT)
            }
            BookError::LostWrites { .. } => Self::failed(what, GO_BACK).keeping(
                "Its -wal file is damaged or gone, or an older book was put in its place. \
                 To go on with it as it is, give its own name as FILE:",
            ),
            BookError::NotOurs(_) => Self::failed(
                what,
                "Name the stock book with --book FILE; if this was it: spareloop backup restore FILE",
            )
            .keeping("Nothing was written to it."),
            BookError::Newer(_) => Self::failed(what, "Update spareloop, then try again.")
                .keeping("Nothing was written to it."),
            BookError::Entry(_) | BookError::Database(_) => Self::failed(
                what,
                "Run: spareloop doctor   (and if it says damaged: spareloop backup restore FILE)",
            )
            .keeping(nothing_lost),
        }
    }
}

impl From<DieselError> for Fault {
    fn from(error: DieselError) -> Self {
        BookError::from(error).into()
    }
}

/// An error's words as a sentence of its own.
pub fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(char::to_uppercase).into_iter().flatten();
    let text: String = first.chain(letters).collect();
    if text.ends_with(['.', '!', '?']) { text } else { text + "." }
}
