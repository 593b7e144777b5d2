//! A copy of the embedded database, made while others work, and read through before it has its name.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use diesel::connection::Connection as _;
use diesel::{RunQueryDsl, SqliteConnection, sql_query};

use crate::books::Books;
use crate::check::{Checked, everything};
use crate::connection::{AnyConnection, Use};
use crate::network_summaries::KeptBeliefs;
use crate::store::{LedgerSeen, make_private, no_room, unreachable_because};
use crate::{Store, StoreError, Tx};

impl Store {
    /// Writes a whole copy of a SQLite database to `copy`, reads it through to its last entry and
    /// answers what is in it. Others work on meanwhile.
    ///
    /// `VACUUM INTO` makes it: one read transaction, which in WAL mode holds nobody up, while
    /// SQLite's online backup begins anew whenever another process writes. It also reads every row
    /// and index, so that a damaged file tells here. An existing file is never overwritten.
    pub fn backup_to(&self, copy: &Path) -> Result<Checked, StoreError> {
        if self.url().file().is_none() {
            return Err(StoreError::NotForThisDatabase {
                what: "a copy as an SQLite file",
                hint: "PostgreSQL's own pg_dump makes one",
            });
        }
        if copy.exists() {
            return Err(no_room(format!("{} is there already", copy.display())));
        }
        let mut partial = copy.as_os_str().to_owned();
        partial.push(".partial");
        let partial = PathBuf::from(partial);
        let made = self.copy_and_read(&partial).and_then(|checked| {
            File::open(&partial).and_then(|file| file.sync_all()).map_err(no_room)?;
            std::fs::rename(&partial, copy).map_err(no_room)?;
            Ok(checked)
        });
        if made.is_err() {
            // Half a copy must not be taken for a whole one.
            let _ = std::fs::remove_file(&partial);
        }
        made
    }

    fn copy_and_read(&self, partial: &Path) -> Result<Checked, StoreError> {
        let mut source =
            AnyConnection::open(self.url(), Use::Write).map_err(unreachable_because)?;
        let _ = std::fs::remove_file(partial);
        make_private(partial)?;
        sql_query("VACUUM INTO $1")
            .bind::<diesel::sql_types::Text, _>(partial.to_string_lossy().into_owned())
            .execute(&mut source)?;
        let copy =
            SqliteConnection::establish(&partial.to_string_lossy()).map_err(StoreError::corrupt)?;
        let mut tx = Tx {
            connection: &mut AnyConnection::Sqlite(copy),
            books: &Books::default(),
            beliefs: &KeptBeliefs::default(),
            ledger: LedgerSeen::default(),
            seal: &OnceLock::new(),
        };
        everything(&mut tx)
    }
}
