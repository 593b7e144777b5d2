//! A flipped byte in a database file is noticed and named, or changes nothing: never other numbers.
//!
//! A seeded sample of bytes, some in every page; every byte with `SPARELOOP_DAMAGE=all`. What is
//! asked runs in this process, and for some bytes through the real program too.

use std::ffi::OsString;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use diesel::connection::SimpleConnection;
use diesel::{Connection, SqliteConnection};
use spareloop_cli::args::Program;
use spareloop_cli::ask::{Ask, Asking, Consent};
use spareloop_cli::book::Keep;
use spareloop_cli::commands;
use spareloop_cli::desk::Desk;
use spareloop_cli::fault::{Exit, Fault};
use spareloop_cli::printer::Format;
use spareloop_cli::settings::{Flags, Settings};
use spareloop_domain::words::FarmId;
use spareloop_store::{DatabaseUrl, Store, StoreError, farm_book, ledger};
use spareloop_tests::binaries::server_command;
use spareloop_tests::damage::{Flip, flips};
use spareloop_tests::farm::{Device, Said, TODAY};
use spareloop_tests::network::Network;

/// What is asked of a book: every table that numbers come from is read.
const ASKED: [&[&str]; 4] =
    [&["status"], &["forecast"], &["log"], &["import", "stock", "stock.csv", "--dry-run", "--yes"]];
const STOCK: &str = "lot,variety,count,unit,stored on\nA1,Glass Weir,12,division,2025-11-02\n\
                     A2,Small Hours,7,division,2025-11-03\n";

/// A small farm's book that was synced, with an offer, an import, a plan, checks and an act done.
fn a_farms_book(network: &Network) -> Device {
    let farm = network.farm("Ashlode");
    let lot = farm.lot("Ember Lantern", 40);
    farm.run(&["plan", "set", "Ember Lantern", "--plants", "20"]).done();
    let sheet = farm.file("stock.csv", STOCK);
    farm.run(&["import", "stock", &sheet, "--yes"]).done();
    for (day, rot) in [("2025-12-01", "1"), ("2026-01-04", "2"), ("2026-02-01", "1")] {
        farm.lose(&lot, 1);
        let left = farm.in_store(&lot);
        let sound = (left - rot.parse::<u64>().unwrap()).to_string();
        let words = ["check", "add", &lot, "--on", day, "--sound", &sound, "--rot", rot];
        farm.run(&words);
    }
    farm.sync();
    farm.run(&["offer", "make", &lot, "--count", "4"]).done();
    farm.sync();
    farm.lose(&lot, 1);
    farm
}

/// One question asked in this process.
fn ask(book: &Path, words: &[&str]) -> Result<String, Fault> {
    let line = ["spareloop"].iter().chain(words).map(OsString::from);
    let program = Program::read(line).expect("a command");
    let flags = Flags { book: Some(book.to_owned()), timeout: None };
    let today = |name: &str| (name == "SPARELOOP_TODAY").then(|| TODAY.to_owned());
    let settings = Settings::resolve(&flags, &today)?;
    let ask = Ask { asking: Asking::Never, consent: Consent::Given };
    let keep = if program.global.dry_run { Keep::Rehearsed } else { Keep::Kept };
    let answer =
        commands::run(program.command, &Desk { settings, ask, keep, format: Format::Json })?;
    Ok(answer.to_json().to_string())
}

fn remove_with_logs(book: &Path) {
    for ending in ["", "-wal", "-shm"] {
        let _ = std::fs::remove_file(format!("{}{ending}", book.display()));
    }
}

/// What the undamaged file answers, and how damage has to be told.
struct Judge<'a> {
    folder: &'a Path,
    whole: &'a [u8],
    answers: Vec<String>,
    noticed: u32,
    harmless: u32,
}

impl Judge<'_> {
    fn questions(folder: &Path) -> Vec<Vec<String>> {
        let sheet = folder.join("stock.csv").display().to_string();
        let named = |word: &&str| if *word == "stock.csv" { sheet.clone() } else { (*word).into() };
        ASKED.iter().map(|words| words.iter().map(named).collect()).collect()
    }

    fn answers(folder: &Path, book: &Path) -> Vec<Result<String, Fault>> {
        Self::questions(folder)
            .iter()
            .map(|words| ask(book, &words.iter().map(String::as_str).collect::<Vec<_>>()))
            .collect()
    }

    fn hold(&mut self, flip: Flip) {
        let book = self.folder.join("flipped.sqlite");
        remove_with_logs(&book);
        let mut bytes = self.whole.to_vec();
        bytes[flip.at] ^= flip.with;
        std::fs::write(&book, bytes).unwrap();
        let folder = self.folder;
        let found = catch_unwind(AssertUnwindSafe(|| Self::answers(folder, &book)));
        let found = found.unwrap_or_else(|_| panic!("{flip} makes the program panic"));
        let mut noticed = false;
        for (whole, found) in self.answers.iter().zip(found) {
            match found {
                Ok(answer) => assert_eq!(&answer, whole, "{flip} changes an answer"),
                Err(fault) => {
                    noticed = true;
                    assert_eq!(fault.exit, Exit::Failed, "{flip}: {fault}");
                    assert!(fault.hint.contains("backup restore"), "{flip}: {fault}");
                }
            }
        }
        if noticed {
            self.noticed += 1;
        } else {
            self.harmless += 1;
        }
    }
}

#[test]
fn a_flipped_byte_in_a_stock_book_is_named_or_changes_nothing() {
    let mut network = Network::embedded();
    let farm = a_farms_book(&network);
    network.server.kill();
    let whole = std::fs::read(farm.book()).unwrap();
    let folder = farm.book().parent().unwrap();
    let answers = Judge::answers(folder, farm.book());
    let answers: Vec<String> = answers.into_iter().map(|answer| answer.unwrap()).collect();
    let mut judge = Judge { folder, whole: &whole, answers, noticed: 0, harmless: 0 };
    let flips = flips(&whole, 4096, 400);
    for flip in &flips {
        judge.hold(*flip);
    }
    println!(
        "stock book: flipped {} noticed {} harmless {} wrong 0 panics 0",
        flips.len(),
        judge.noticed,
        judge.harmless
    );
    assert!(judge.noticed > 0);
}

/// What a server answers of a farm's ledger: the summary, the whole feed, the stock.
fn ask_server(file: &Path, farm: FarmId) -> Result<String, StoreError> {
    let store = Store::open(&DatabaseUrl::Sqlite(file.to_owned()))?;
    store.check_quickly()?;
    store.read(|tx| {
        let summary = ledger::summary(tx, farm, chrono::DateTime::UNIX_EPOCH)?;
        let feed = ledger::all_entries(tx, farm)?;
        let lots = farm_book(tx, farm)?.lots.clone();
        // What is promised stands in offers and holds, which no hash covers.
        let (position, heads) = (summary.position, summary.heads);
        Ok(format!("{position:?} {heads:?} {feed:?} {lots:?}"))
    })
}

#[test]
fn a_flipped_byte_in_a_servers_database_is_named_or_changes_nothing() {
    let mut network = Network::embedded();
    let device = a_farms_book(&network);
    device.sync();
    let shown = device.run(&["farm", "show", "--json"]).json();
    let farm: FarmId = shown["farm"].as_str().unwrap().parse().unwrap();
    network.server.kill();
    let database = network.data().join("spareloop.sqlite");
    // The log is moved into the file.
    let copy = network.folder().join("whole.sqlite");
    Store::open(&DatabaseUrl::Sqlite(database)).unwrap().backup_to(&copy).unwrap();
    let whole = std::fs::read(&copy).unwrap();
    let answer = ask_server(&copy, farm).unwrap();
    let flips = flips(&whole, 4096, 400);
    let flipped = network.folder().join("flipped.sqlite");
    let (mut noticed, mut harmless) = (0, 0);
    for (number, flip) in flips.iter().enumerate() {
        remove_with_logs(&flipped);
        let mut bytes = whole.clone();
        bytes[flip.at] ^= flip.with;
        std::fs::write(&flipped, &bytes).unwrap();
        let found = catch_unwind(AssertUnwindSafe(|| ask_server(&flipped, farm)));
        match found.unwrap_or_else(|_| panic!("{flip} makes the server panic")) {
            Ok(found) => {
                assert_eq!(found, answer, "{flip} changes an answer");
                harmless += 1;
            }
            // A lost epoch looks like a restore that was cut off, and leads to the same act.
            Err(StoreError::Corrupt { .. } | StoreError::NotOurs | StoreError::RestoreCutOff) => {
                noticed += 1;
            }
            Err(error) => panic!("{flip} is told as: {error} {:?}", error.log_text()),
        }
        if number % 20 == 0 {
            // The real program reads all of it.
            remove_with_logs(&flipped);
            std::fs::write(&flipped, &bytes).unwrap();
            let url = format!("sqlite:{}", flipped.display());
            let mut command = server_command(&network.data());
            let said = Said::of(command.env("SPARELOOP_DATABASE_URL", url).arg("check"));
            assert!(said.exit == 0 || said.err.contains("restore FILE"), "{flip}: {}", said.err);
        }
    }
    println!(
        "server: flipped {} noticed {noticed} harmless {harmless} wrong 0 panics 0",
        flips.len()
    );
    assert!(noticed > 0);
}

#[test]
fn a_book_that_is_cut_empty_foreign_or_newer_is_told_apart_and_left_alone() {
    let network = Network::embedded();
    let farm = network.farm("Ashlode");
    let lot = farm.lot("Ember Lantern", 40);
    let whole = std::fs::read(farm.book()).unwrap();
    let home = farm.book().parent().unwrap();
    let named = |name: &str, bytes: &[u8]| {
        let path = home.join(name);
        remove_with_logs(&path);
        std::fs::write(&path, bytes).unwrap();
        path
    };
    let mut zeroed = whole.clone();
    zeroed[4096..8192].fill(0);
    let cases = [
        named("cut.sqlite", &whole[..whole.len() / 2]),
        named("cut-in-a-page.sqlite", &whole[..whole.len() - 1000]),
        named("zeroed.sqlite", &zeroed),
        named(
            "letter.sqlite",
            b"Dear neighbour, thank you for the tubers. ".repeat(200).as_slice(),
        ),
    ];
    let status = farm.run(&["status"]).done();
    for path in &cases {
        let book = path.to_str().unwrap();
        let said = farm.run(&["--book", book, "status"]);
        // What was cut off the last page may be free room.
        let harmless = book.contains("cut-in-a-page") && said.exit == 0;
        if harmless {
            assert_eq!(said.done(), status);
        } else {
            let said = said.ends_with(1);
            assert!(said.contains("backup restore FILE"), "{book}: {said}");
        }
    }

    let foreign = home.join("foreign.sqlite");
    let mut other = SqliteConnection::establish(foreign.to_str().unwrap()).unwrap();
    other
        .batch_execute("CREATE TABLE recipes (name TEXT); INSERT INTO recipes VALUES ('soup')")
        .unwrap();
    drop(other);
    let before = std::fs::read(&foreign).unwrap();
    let said = farm.run(&["--book", foreign.to_str().unwrap(), "status"]).ends_with(1);
    assert!(said.contains("another program") && said.contains("Nothing was written"), "{said}");
    assert_eq!(std::fs::read(&foreign).unwrap(), before);

    // The log of one book beside another: what it holds would be written over the book's own pages.
    let neighbour = Device::of_a_farm(&network.folder().join("brindle"), "Brindle");
    let log = neighbours_log(&neighbour);
    let mixed = named("mixed.sqlite", &whole);
    std::fs::write(home.join("mixed.sqlite-wal"), &log).unwrap();
    std::fs::copy(home.join("book.sqlite.mark"), home.join("mixed.sqlite.mark")).unwrap();
    let said = farm.run(&["--book", mixed.to_str().unwrap(), "lot", "show", &lot, "--json"]);
    if said.exit == 0 {
        assert_eq!(said.json()["lot"]["in_store"], 40);
    } else {
        assert!(said.ends_with(1).contains("backup restore"));
    }

    let newer = named("newer.sqlite", &whole);
    let mut of_tomorrow = SqliteConnection::establish(newer.to_str().unwrap()).unwrap();
    of_tomorrow
        .batch_execute("INSERT INTO __diesel_schema_migrations (version) VALUES ('20991231000001')")
        .unwrap();
    drop(of_tomorrow);
    let said = farm.run(&["--book", newer.to_str().unwrap(), "status"]).ends_with(1);
    assert!(said.contains("newer version") && said.contains("Update spareloop"), "{said}");
}

/// The write-ahead log of a book at which a program was killed: it has the last writes.
fn neighbours_log(neighbour: &Device) -> Vec<u8> {
    let book = neighbour.book().to_str().unwrap().to_owned();
    let mut open = SqliteConnection::establish(&book).unwrap();
    open.batch_execute("BEGIN; SELECT count(*) FROM farm;").unwrap();
    neighbour.lot("Glass Weir", 3);
    let log = std::fs::read(format!("{book}-wal")).unwrap();
    assert!(!log.is_empty());
    log
}

#[test]
fn a_damaged_or_missing_log_is_noticed_by_the_mark_beside_the_book() {
    let network = Network::embedded();
    let farm = network.farm("Ashlode");
    let lot = farm.lot("Ember Lantern", 40);
    let book = farm.book().to_str().unwrap().to_owned();
    let mut open = SqliteConnection::establish(&book).unwrap();
    open.batch_execute("BEGIN; SELECT count(*) FROM farm;").unwrap();
    farm.lose(&lot, 2);
    let (file, log) =
        (std::fs::read(&book).unwrap(), std::fs::read(format!("{book}-wal")).unwrap());
    drop(open);
    let put = |log: Option<&[u8]>| {
        remove_with_logs(farm.book());
        std::fs::write(&book, &file).unwrap();
        if let Some(log) = log {
            std::fs::write(format!("{book}-wal"), log).unwrap();
        }
    };
    put(Some(&log));
    assert_eq!(farm.in_store(&lot), 38, "as after a kill: the log has the last writes");
    put(None);
    let said = farm.run(&["status"]).ends_with(1);
    assert!(said.contains("lost its last writes") && said.contains("backup restore"), "{said}");
    for at in (0..log.len()).step_by(log.len() / 40 + 1) {
        let mut flipped = log.clone();
        flipped[at] ^= 0x04;
        put(Some(&flipped));
        let said = farm.run(&["lot", "show", &lot, "--json"]);
        if said.exit == 0 {
            assert_eq!(said.json()["lot"]["in_store"], 38, "byte {at} of the log");
        } else {
            assert!(said.ends_with(1).contains("backup restore"), "byte {at} of the log");
        }
    }
}
