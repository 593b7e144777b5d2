//! Opening a book: is it one, is it whole, is it of this version.
//!
//! A damaged, foreign or newer file is told of before anything is written to it. Before tables are
//! brought up to date, a copy is put with the others ([`super::copies`]).

use std::path::Path;
use std::time::Duration;

use diesel::connection::SimpleConnection;
use diesel::migration::{Migration, MigrationSource, MigrationVersion};
use diesel::prelude::*;
use diesel::sqlite::{Sqlite, SqliteConnection};
use diesel_migrations::{EmbeddedMigrations, MigrationHarness, embed_migrations};

use super::{BookError, Mark, StockBook, copies, farm, mark, seals};

const MIGRATIONS: EmbeddedMigrations = embed_migrations!("../migrations/ledger");

/// What a file is.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Standing {
    /// Nothing is in it yet.
    Empty,
    /// A book whose tables end at this migration.
    Behind(String),
    /// A book of this version.
    UpToDate,
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
        let standing = book.look()?;
        book.connection.batch_execute("PRAGMA journal_mode = WAL;")?;
        match standing {
            Standing::UpToDate => {}
            Standing::Empty => book.bring_up_to_date()?,
            Standing::Behind(version) => {
                copies::before_upgrade(&mut book, &version)?;
                book.bring_up_to_date()?;
            }
        }
        Ok(book)
    }

    /// Opens a whole book of this version without writing to it; `None` if its tables are of before.
    pub(super) fn open_as_it_is(path: &Path, wait: Duration) -> Result<Option<Self>, BookError> {
        if !path.exists() {
            return Err(BookError::NotThere(path.to_owned()));
        }
        let mut book = Self::connect(path, wait)?;
        match book.look()? {
            Standing::UpToDate => Ok(Some(book)),
            Standing::Behind(_) => Ok(None),
            Standing::Empty => Err(BookError::NoFarm),
        }
    }

    /// Opens a file as it is.
    pub(super) fn connect(path: &Path, wait: Duration) -> Result<Self, BookError> {
        let text = path.to_str().ok_or_else(|| BookError::OddPath(path.to_owned()))?;
        let mut connection = SqliteConnection::establish(text)
            .map_err(|error| BookError::unreadable(path, &error))?;
        connection.batch_execute(&format!(
            "PRAGMA busy_timeout = {}; PRAGMA foreign_keys = ON; PRAGMA synchronous = FULL; \
             PRAGMA cell_size_check = ON; PRAGMA trusted_schema = OFF;",
            wait.as_millis()
        ))?;
        Ok(Self { connection, path: path.to_owned(), wait })
    }

    /// Says what the file is, from one moment of it; a whole book's seals hold.
    fn look(&mut self) -> Result<Standing, BookError> {
        let path = self.path.clone();
        self.read(|connection| {
            let standing = standing(connection, &path)?;
            if standing != Standing::Empty && seals::are_there(connection)? {
                seals::verify_small(connection)?;
            }
            Ok(standing)
        })
    }

    /// Refuses a book that was written less often than was noted beside it, or is another farm's.
    pub fn hold_against_mark(&mut self) -> Result<(), BookError> {
        let Some(noted) = mark::read(&self.path) else { return Ok(()) };
        // The mark is read first: whoever writes in between only makes the book newer.
        match self.mark()? {
            Some(found) if found.farm == noted.farm && found.writes >= noted.writes => Ok(()),
            found => Err(BookError::LostWrites {
                noted: noted.writes,
                found: found.filter(|it| it.farm == noted.farm).map(|it| it.writes),
            }),
        }
    }

    /// Writes the mark anew, after another book was put in this one's place.
    pub(super) fn renew_mark(&mut self) -> Result<(), BookError> {
        mark::forget(&self.path);
        if let Some(mark) = self.mark()? {
            mark::put(&self.path, &mark);
        }
        Ok(())
    }

    fn mark(&mut self) -> Result<Option<Mark>, BookError> {
        self.read(|connection| {
            let writes = super::schema::writes::table
                .select(super::schema::writes::count)
                .first(connection)?;
            Ok(farm::raw_id(connection)?.map(|farm| Mark { farm, writes }))
        })
    }

    fn bring_up_to_date(&mut self) -> Result<(), BookError> {
        self.connection.immediate_transaction(|connection| {
            let applied = connection
                .run_pending_migrations(MIGRATIONS)
                .map_err(|error| BookError::Migration(error.to_string()))?;
            if !applied.is_empty() {
                seals::renew_all(connection)?;
            }
            Ok(())
        })
    }
}

fn standing(connection: &mut SqliteConnection, path: &Path) -> Result<Standing, BookError> {
    let tables = seals::tables(connection)?;
    if tables.is_empty() {
        return Ok(Standing::Empty);
    }
    if !["__diesel_schema_migrations", "farm", "entries"]
        .iter()
        .all(|ours| tables.iter().any(|name| name == ours))
    {
        return Err(BookError::NotOurs(path.to_owned()));
    }
    let wrong = |error: Box<dyn std::error::Error + Send + Sync>| {
        BookError::Damaged(format!("its versions can't be read: {error}"))
    };
    let applied: Vec<MigrationVersion<'_>> = connection.applied_migrations().map_err(wrong)?;
    let known: Vec<Box<dyn Migration<Sqlite>>> = MIGRATIONS.migrations().map_err(wrong)?;
    let is_known = |version: &MigrationVersion<'_>| {
        known.iter().any(|migration| migration.name().version() == *version)
    };
    let missing =
        known.iter().filter(|migration| !applied.contains(&migration.name().version())).count();
    match (applied.iter().filter(|version| !is_known(version)).max(), missing) {
        (None, 0) => Ok(Standing::UpToDate),
        (None, _) => Ok(Standing::Behind(
            applied.iter().max().map_or_else(|| "0".to_owned(), ToString::to_string),
        )),
        (Some(newer), 0) => Err(BookError::Newer(newer.to_string())),
        (Some(_), _) => {
            // A newer book has all that this program knows, and more.
            Err(BookError::Damaged("its versions are not what was written".to_owned()))
        }
    }
}
