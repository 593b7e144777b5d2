//! Copies that the program makes by itself, in a folder beside the book: before an import, before
//! a season is closed and before tables are brought up to date. The newest few are kept.
//!
//! They lie on the same disk, so they help against a slip, not against a broken machine; `backup
//! make FILE` is for that.

use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::time::Duration;

use chrono::{DateTime, SecondsFormat, Utc};

use super::{BookError, StockBook};

/// How many copies of the same occasion are kept.
const KEPT: usize = 5;
const ENDING: &str = "sqlite";

/// What a copy was made before.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Before {
    /// Rows of a file are written.
    Import,
    /// A season is closed.
    SeasonEnd,
}

impl Before {
    const fn word(self) -> &'static str {
        match self {
            Self::Import => "before-import",
            Self::SeasonEnd => "before-season-close",
        }
    }
}

/// A copy that can be put back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CopyFile {
    /// Where.
    pub path: PathBuf,
    /// How large, in bytes.
    pub bytes: u64,
    /// When it was last written to.
    pub made: DateTime<Utc>,
}

/// The folder of a book's copies.
pub fn folder(book: &Path) -> PathBuf {
    let mut name = book.file_name().map_or_else(OsString::new, ToOwned::to_owned);
    name.push(".copies");
    book.with_file_name(name)
}

/// A name for a copy made now.
pub fn named(book: &Path, wall_millis: u64, word: &str) -> PathBuf {
    let at = i64::try_from(wall_millis)
        .ok()
        .and_then(DateTime::<Utc>::from_timestamp_millis)
        .unwrap_or_default()
        .to_rfc3339_opts(SecondsFormat::Millis, true)
        .replace([':', '.'], "-");
    folder(book).join(format!("{at}-{word}.{ENDING}"))
}

/// Makes a verified copy before something that changes much, and lets the oldest of that kind go.
pub fn make(
    book: &mut StockBook,
    before: Before,
    wall_millis: u64,
    wait: Duration,
) -> Result<PathBuf, BookError> {
    let path = named(book.path(), wall_millis, before.word());
    book.copy_to(&path, wait)?;
    let ending = format!("-{}.{ENDING}", before.word());
    let mut same = list(book.path())?;
    same.retain(|copy| copy.path.to_string_lossy().ends_with(&ending));
    // Newest first, and the one just made is verified.
    for old in same.iter().skip(KEPT) {
        let _ = std::fs::remove_file(&old.path);
    }
    Ok(path)
}

/// Makes a copy of a book whose tables are about to change; one of the same tables is enough.
pub(super) fn before_upgrade(book: &mut StockBook, version: &str) -> Result<(), BookError> {
    let path = folder(book.path()).join(format!("before-update-from-{version}.{ENDING}"));
    if path.exists() { Ok(()) } else { book.write_copy(&path) }
}

/// Every copy beside a book: those made by the program and books that were replaced, newest first.
pub fn list(book: &Path) -> Result<Vec<CopyFile>, BookError> {
    let mut found = files_of(&folder(book), |name| name.ends_with(&format!(".{ENDING}")))?;
    let replaced = format!("{}.before-", book.file_name().unwrap_or_default().to_string_lossy());
    let beside = book.parent().filter(|folder| !folder.as_os_str().is_empty());
    found.extend(files_of(beside.unwrap_or_else(|| Path::new(".")), |name| {
        let beside = ["-wal", "-shm", ".mark"];
        name.starts_with(&replaced) && !beside.iter().any(|ending| name.ends_with(ending))
    })?);
    found.sort_by(|one, other| (other.made, &other.path).cmp(&(one.made, &one.path)));
    Ok(found)
}

/// Whether copies lie beside a book, as far as can be seen.
pub fn are_beside(book: &Path) -> bool {
    list(book).is_ok_and(|found| !found.is_empty())
}

fn files_of(folder: &Path, is_one: impl Fn(&str) -> bool) -> Result<Vec<CopyFile>, BookError> {
    let wrong = |error: std::io::Error| BookError::unreadable(folder, &error);
    let files = match std::fs::read_dir(folder) {
        Ok(files) => files,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(error) => return Err(wrong(error)),
    };
    let mut found = Vec::new();
    for file in files {
        let file = file.map_err(wrong)?;
        if is_one(&file.file_name().to_string_lossy()) {
            let about = file.metadata().map_err(wrong)?;
            let made = about.modified().map_err(wrong)?.into();
            found.push(CopyFile { path: file.path(), bytes: about.len(), made });
        }
    }
    Ok(found)
}
