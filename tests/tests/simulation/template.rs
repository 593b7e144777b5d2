//! The files that every seed begins from, made once: a farm known to a server, and its book.

use std::path::Path;
use std::sync::OnceLock;
use std::time::Duration;

use spareloop_cli::book::farm::{self, Farm};
use spareloop_cli::book::link::{self, Link};
use spareloop_cli::book::{BookError, Keep, StockBook};
use spareloop_domain::planted;
use spareloop_domain::words::{FarmId, uuid_v7};
use uuid::Uuid;

use crate::house;

/// When every seed begins: 1 November 2025, in milliseconds since 1970 UTC.
pub const BEGIN: u64 = 1_761_955_200_000;

/// An id that is the same in every seed.
pub fn id(number: u8) -> Uuid {
    uuid_v7(BEGIN, [number; 10])
}

/// The farm.
pub fn farm_id() -> FarmId {
    FarmId::new(id(1))
}

/// Both files, as bytes.
pub struct Template {
    /// The server's.
    pub house: Vec<u8>,
    /// A device's, that has no id yet.
    pub book: Vec<u8>,
}

/// The files, made at the first call.
pub fn template() -> &'static Template {
    static MADE: OnceLock<Template> = OnceLock::new();
    MADE.get_or_init(|| {
        let folder = tempfile::tempdir().expect("a folder");
        let (house, book) = (folder.path().join("server.db"), folder.path().join("book.db"));
        planted::seed(Some(0));
        house::set_up(&house, farm_id(), BEGIN);
        make_book(&book).expect("a new book");
        planted::seed(None);
        let read = |path: &Path| std::fs::read(path).expect("a file that was just made");
        Template { house: read(&house), book: read(&book) }
    })
}

fn make_book(path: &Path) -> Result<(), BookError> {
    let mut file = StockBook::open_or_create(path, Duration::ZERO)?;
    file.write(Keep::Kept, |connection| {
        let farm =
            Farm { id: farm_id(), name: "Larkhusk".to_owned(), service_level: 0.9, planting: None };
        farm::put(connection, &farm)?;
        let link = Link {
            server: "https://loop.example".to_owned(),
            login: "grower".to_owned(),
            network: None,
            epoch: None,
            cursor: 0,
            synced_at: None,
            promised_mark: None,
        };
        link::put(connection, &link)
    })
}
