//! A farm's book with many entries in it, written past the commands, seals and all.

use std::path::Path;
use std::time::Duration;

use diesel::connection::SimpleConnection;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Text};
use spareloop_cli::book::{Keep, StockBook};
use spareloop_domain::ledger::Entry;
use spareloop_domain::ledger::generate::{Dice, seasons};
use spareloop_domain::words::{DeviceId, FarmId};
use spareloop_tests::farm::Device;

#[derive(QueryableByName)]
struct Ids {
    #[diesel(sql_type = Text)]
    farm: String,
    #[diesel(sql_type = Text)]
    device: String,
}

/// Fills the book of a device with about so many entries in so many chains, its own among them.
pub(crate) fn fill(device: &Device, entries: usize, chains: usize) -> usize {
    let mut book = open(device.book());
    let ids = diesel::sql_query(
        "SELECT farm.id AS farm, devices.id AS device FROM farm, devices WHERE state = 'current'",
    )
    .get_result::<Ids>(&mut book)
    .unwrap();
    let farm: FarmId = ids.farm.parse().unwrap();
    // A device belongs to one farm, so each farm's are its own.
    let mut dice = Dice::new(farm.uuid().as_u64_pair().1);
    let mut devices: Vec<DeviceId> = vec![ids.device.parse().unwrap()];
    devices.extend((1..chains).map(|_| DeviceId::new(dice.id())));
    let written = seasons(7, farm, &devices, entries);
    drop(book);
    let mut book = StockBook::open(device.book(), Duration::from_secs(5)).unwrap();
    book.write(Keep::Kept, |book| written.iter().try_for_each(|entry| insert(book, entry)))
        .unwrap();
    written.len()
}

/// Opens a book past the program.
pub(crate) fn open(path: &Path) -> SqliteConnection {
    let mut book = SqliteConnection::establish(path.to_str().unwrap()).unwrap();
    book.batch_execute("PRAGMA busy_timeout = 5000;").unwrap();
    book
}

/// Throws every snapshot away.
pub(crate) fn forget_snapshots(device: &Device) {
    open(device.book()).batch_execute("DELETE FROM snapshots;").unwrap();
}

fn insert(book: &mut SqliteConnection, entry: &Entry) -> QueryResult<()> {
    diesel::sql_query(
        "INSERT INTO entries (id, device, seq, farm, at_millis, at_counter, on_day, kind, body, \
         prev, hash) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    )
    .bind::<Text, _>(entry.id.to_string())
    .bind::<Text, _>(entry.device.to_string())
    .bind::<BigInt, _>(i64::try_from(entry.seq.get()).unwrap())
    .bind::<Text, _>(entry.farm.to_string())
    .bind::<BigInt, _>(i64::try_from(entry.at.millis).unwrap())
    .bind::<BigInt, _>(i64::from(entry.at.counter))
    .bind::<Text, _>(entry.on.to_string())
    .bind::<Text, _>(&entry.kind)
    .bind::<Text, _>(entry.body.to_string())
    .bind::<Text, _>(entry.prev.to_string())
    .bind::<Text, _>(entry.hash.to_string())
    .execute(book)
    .map(drop)
}
