//! Keys and statements of the network, kept beside the book to be checked without a network.
//!
//! The file can be thrown away: the next sync fetches it again, but for statements of this farm that
//! no server has taken yet.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use spareloop_domain::attest::{Kept, KeyRecord};
use spareloop_domain::words::{FarmId, LotId, StatementId};

use super::own::OwnKeys;
use crate::book::keys::write_private;
use crate::fault::Fault;

/// A statement on the shelf.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ShelvedStatement {
    /// Whose.
    pub farm: FarmId,
    /// Its id.
    pub statement: StatementId,
    /// About which lot.
    pub lot: LotId,
    /// The signed text, and when the server took it.
    #[serde(flatten)]
    pub kept: Kept,
    /// Why the server refused it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub refused: Option<String>,
}

/// Everything on the shelf.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Shelf {
    /// The server that it comes from.
    pub server: Option<String>,
    /// The server's epoch then.
    pub epoch: Option<String>,
    /// Everything up to this position of the network's feed is here.
    pub position: u64,
    /// Names of the network's farms.
    pub farms: BTreeMap<FarmId, String>,
    /// Keys as the server has them.
    pub keys: Vec<KeyRecord>,
    /// Statements, in the order in which they came.
    pub statements: Vec<ShelvedStatement>,
}

/// The file beside a book.
pub fn path_beside(book: &Path) -> PathBuf {
    let mut name = book.file_name().map(std::ffi::OsStr::to_owned).unwrap_or_default();
    name.push(".statements");
    book.with_file_name(name)
}

/// Reads the shelf; an empty one if there is no file.
pub fn read(book: &Path) -> Result<Shelf, Fault> {
    let path = path_beside(book);
    let odd = |why: String| {
        Fault::failed(
            format!("The statements kept in {} can't be read: {why}.", path.display()),
            "Move that file away; the next sync fetches what the network has: spareloop sync",
        )
        .keeping("The stock book is untouched.")
    };
    match fs::read_to_string(&path) {
        Ok(text) => serde_json::from_str(&text).map_err(|error| odd(error.to_string())),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(Shelf::default()),
        Err(error) => Err(odd(error.to_string())),
    }
}

/// Writes the shelf, whole or not at all.
pub fn write(book: &Path, shelf: &Shelf) -> Result<(), Fault> {
    let path = path_beside(book);
    write_private(&path, shelf).map_err(|error| {
        Fault::failed(
            format!("Statements can't be kept in {}: {error}.", path.display()),
            "Make room and check who may write there, then try again.",
        )
    })
}

impl Shelf {
    /// Takes a key as the server has it now.
    pub fn put_key(&mut self, record: KeyRecord) {
        match self.keys.iter_mut().find(|known| known.key == record.key) {
            Some(known) => *known = record,
            None => self.keys.push(record),
        }
    }

    /// Takes a statement; the same one again only learns when it was taken.
    pub fn put_statement(&mut self, new: ShelvedStatement) {
        let same = |known: &&mut ShelvedStatement| {
            known.farm == new.farm && known.statement == new.statement
        };
        match self.statements.iter_mut().find(same) {
            Some(known) => *known = new,
            None => self.statements.push(new),
        }
    }

    /// Every key that is known: the network's, and this device's own as this device has them.
    pub fn keys_with(&self, own: &OwnKeys) -> Vec<KeyRecord> {
        let mut keys = self.keys.clone();
        for own in &own.keys {
            match keys.iter_mut().find(|known| known.key == own.record.key) {
                Some(known) => {
                    known.withdrawn_at = known.withdrawn_at.or(own.record.withdrawn_at);
                }
                None => keys.push(own.record.clone()),
            }
        }
        keys
    }

    /// The statements about a lot by a farm.
    pub fn about(&self, farm: FarmId, lot: LotId) -> Vec<&ShelvedStatement> {
        self.statements.iter().filter(|one| one.farm == farm && one.lot == lot).collect()
    }

    /// A farm's name, or its id.
    pub fn name_of(&self, farm: FarmId) -> String {
        self.farms.get(&farm).cloned().unwrap_or_else(|| format!("the farm {farm}"))
    }

    /// Forgets what a server said, for another one or one that was put back: what this farm stated
    /// itself stays, to be sent again.
    pub fn begin_again(&mut self, farm: FarmId, server: &str, epoch: Option<&str>) {
        self.server = Some(server.to_owned());
        self.epoch = epoch.map(ToOwned::to_owned);
        self.position = 0;
        self.keys.clear();
        self.statements.retain(|one| one.farm == farm);
        for one in &mut self.statements {
            one.kept.taken_at = None;
            one.refused = None;
        }
    }
}
