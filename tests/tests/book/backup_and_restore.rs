//! Copies of the server's book and of the stock book: made while work goes on, put back, and
//! nothing is lost that a device holds.

use std::collections::BTreeSet;
use std::path::Path;

use spareloop_tests::database::Kind;
use spareloop_tests::farm::{Device, Said};
use spareloop_tests::network::Network;
use spareloop_tests::on_both;

fn server(network: &Network, words: &[&str]) -> Said {
    network.server_says(words)
}

/// Puts a copy back; PostgreSQL's database is there and has to be replaced.
fn restore(network: &Network, kind: Kind, copy: &str) -> Said {
    match kind {
        Kind::Sqlite => server(network, &["restore", copy]),
        Kind::Postgresql => server(network, &["restore", "--replace", copy]),
    }
}

fn exported(device: &Device) -> BTreeSet<String> {
    device.run(&["export"]).done().lines().map(ToOwned::to_owned).collect()
}

fn path(folder: &Path, name: &str) -> String {
    folder.join(name).to_str().unwrap().to_owned()
}

/// A hold of the taker's, agreed and handed over.
fn hand_over(giver: &Device, taker: &Device, lot: &str, count: &str) -> String {
    let made = giver.run(&["offer", "make", lot, "--count", count, "--json"]).json();
    let offer = made["offer"]["offer"].as_str().unwrap().to_owned();
    let words = ["hold", "ask", &offer, "--count", count, "--value", "1.0", "--json"];
    let asked = taker.run(&words).json();
    let hold = asked["hold"]["hold"].as_str().unwrap().to_owned();
    giver.run(&["hold", "agree", &hold, "--yes"]).done();
    let words = ["handover", "give", &hold, "--given", count, "--yes", "--json"];
    let handed = giver.run(&words).json();
    handed["hold"]["hand_over"]["hand_over"].as_str().unwrap().to_owned()
}

on_both! {
fn a_server_put_back_from_an_old_copy_gets_from_its_devices_what_it_lacks(kind: Kind) {
    let mut network = Network::on(kind);
    let (giver, taker) = (network.farm("Ashlode"), network.farm("Brindle"));
    let lot = giver.lot("Ember Lantern", 40);
    giver.sync();
    taker.sync();
    let copy = path(network.folder(), "network.sqlite");
    server(&network, &["backup", &copy]).done();

    // After the copy: a loss, a device that joins, and a whole parcel.
    giver.lose(&lot, 2);
    giver.sync();
    let phone = network.another_device("Ashlode", "phone");
    let handed = hand_over(&giver, &taker, &lot, "5");
    taker.run(&["handover", "receive", &handed, "--received", "5", "--yes"]).done();
    for device in [&giver, &taker] {
        device.sync();
    }
    let (gave, took) = (exported(&giver), exported(&taker));
    giver.lose(&lot, 1);

    let running = restore(&network, kind, &copy).ends_with(1);
    assert!(running.contains("Stop that server first"), "{running}");
    network.server.kill();
    let told = restore(&network, kind, &copy).ends_with(0);
    assert!(told.contains("2 farms") && told.contains("is kept in"), "{told}");
    network.start_again();
    // What is only the server's and newer than the copy is gone, and both farms are told so.
    for farm in [&giver, &taker] {
        let told = farm.run(&["messages"]).done();
        assert!(told.contains("put back from an older copy"), "{told}");
        assert!(told.contains("Offers, wants, holds"), "{told}");
    }

    let said = giver.sync()["said"].to_string();
    assert!(said.contains("put back from an older copy"), "{said}");
    taker.sync();
    for (device, before) in [(&giver, &gave), (&taker, &took)] {
        assert!(exported(device).is_superset(before), "nothing that a device held is lost");
    }
    assert_eq!(giver.in_store(&lot), 40 - 2 - 5 - 1);
    // The server's own fold has it all, and a new device fetches it.
    let stock = network.person("ashlode").stock().unwrap();
    assert_eq!(stock.lines[0].in_store.get(), 32);
    let fresh = network.another_device("Ashlode", "tablet");
    assert_eq!(exported(&fresh), exported(&giver));
    assert_eq!(giver.sync()["said"].to_string(), "[]", "it is said once");

    // The phone was made known after the copy: it signs in anew and goes on.
    phone.lose(&lot, 1);
    let refused = phone.run(&["sync"]).ends_with(4);
    assert!(refused.contains("spareloop farm connect"), "{refused}");
    phone.run(&["farm", "connect"]).done();
    phone.sync();
    giver.sync();
    assert_eq!(exported(&phone), exported(&giver));

    // New hand-overs go on under a new house device: no chain was taken up twice.
    let handed = hand_over(&giver, &taker, &lot, "3");
    taker.run(&["handover", "receive", &handed, "--received", "3", "--yes"]).done();
    assert_eq!(giver.sync()["said"].to_string(), "[]");
    assert_eq!(giver.in_store(&lot), 31 - 3);
    server(&network, &["check"]).done();
}

fn a_device_notices_an_older_server_also_when_others_have_filled_it_up_again(kind: Kind) {
    let mut network = Network::on(kind);
    let house = network.farm("Ashlode");
    let lot = house.lot("Ember Lantern", 40);
    house.sync();
    let phone = network.another_device("Ashlode", "phone");
    let copy = path(network.folder(), "network.sqlite");
    server(&network, &["backup", &copy]).done();
    house.lose(&lot, 1);
    house.sync();
    phone.lose(&lot, 2);
    phone.sync();
    network.server.kill();
    restore(&network, kind, &copy).done();
    network.start_again();

    // The house never saw the phone's loss and now notes more than the phone had seen in all: only
    // the epoch tells the phone that the places it knows are other entries' now.
    for _ in 0..5 {
        house.lose(&lot, 1);
    }
    house.sync();
    let said = phone.sync()["said"].to_string();
    assert!(said.contains("put back from an older copy"), "{said}");
    house.sync();
    assert_eq!(exported(&phone), exported(&house));
    assert_eq!((phone.in_store(&lot), house.in_store(&lot)), (32, 32));
}
}

#[test]
fn a_damaged_copy_of_the_servers_book_is_refused_and_the_server_goes_on() {
    let mut network = Network::embedded();
    let farm = network.farm("Ashlode");
    farm.lot("Ember Lantern", 40);
    farm.sync();
    let copy = path(network.folder(), "network.sqlite");
    server(&network, &["backup", &copy]).done();
    let twice = server(&network, &["backup", &copy]).ends_with(3);
    assert!(twice.contains("is there already"), "{twice}");
    network.server.kill();
    let bytes = std::fs::read(&copy).unwrap();
    let cut = bytes[..bytes.len() / 2].to_vec();
    let mut torn = bytes.clone();
    let middle = torn.len() / 2;
    torn[middle..middle + 8192].fill(0xA5);
    for (name, damaged) in [("cut", cut), ("torn", torn), ("other", b"a letter".to_vec())] {
        let file = path(network.folder(), name);
        std::fs::write(&file, damaged).unwrap();
        let said = server(&network, &["restore", &file]).ends_with(3);
        assert!(said.contains("is not a whole copy"), "{name}: {said}");
        assert!(said.contains("Nothing was changed"), "{name}: {said}");
    }
    network.start_again();
    assert_eq!(farm.sync()["said"].to_string(), "[]", "the server is the one that it was");
}

#[test]
fn a_stock_book_goes_through_a_copy_and_a_damaged_copy_changes_nothing() {
    let network = Network::embedded();
    let farm = network.farm("Ashlode");
    let lot = farm.lot("Ember Lantern", 40);
    farm.sync();
    let copy = path(network.folder(), "book.copy");
    farm.run(&["backup", "make", &copy]).done();
    farm.lose(&lot, 2);
    let before = farm.run(&["export"]).done();
    let bytes = std::fs::read(&copy).unwrap();
    let half = farm.file("half.copy", &bytes[..bytes.len() / 2]);
    let said = farm.run(&["backup", "restore", &half, "--yes"]).ends_with(3);
    assert!(said.contains("can't be put back") && said.contains("as it was"), "{said}");
    assert_eq!(farm.run(&["export"]).done(), before);

    farm.run(&["backup", "restore", &copy, "--yes"]).done();
    assert_eq!(farm.in_store(&lot), 40);
    // The loss was never sent, so it is only in the book that was set aside, which is kept.
    let home = farm.book().parent().unwrap();
    let aside = std::fs::read_dir(home).unwrap().flatten();
    let aside = aside.map(|file| file.path()).find(|path| {
        path.file_name().unwrap().to_str().unwrap().starts_with("book.sqlite.before-")
            && path
                .extension()
                .is_none_or(|ending| ending != "mark" && ending != "wal" && ending != "shm")
    });
    let aside = aside.expect("the replaced book is kept").to_str().unwrap().to_owned();
    let kept = farm.run(&["--book", &aside, "export"]).done();
    assert_eq!(kept, before);
    farm.sync();
}

#[test]
fn an_older_book_or_one_that_lost_its_log_is_not_taken_for_the_book() {
    let network = Network::embedded();
    let farm = network.farm("Ashlode");
    let lot = farm.lot("Ember Lantern", 40);
    let old = std::fs::read(farm.book()).unwrap();
    farm.lose(&lot, 2);
    std::fs::write(farm.book(), old).unwrap();
    let said = farm.run(&["status"]).ends_with(1);
    assert!(said.contains("lost its last writes") && said.contains("backup restore"), "{said}");

    // Whoever meant it says so, by the book's own name.
    let book = farm.book().to_str().unwrap().to_owned();
    farm.run(&["backup", "restore", &book, "--yes"]).done();
    assert_eq!(farm.in_store(&lot), 40);
    farm.lose(&lot, 1);
    assert_eq!(farm.in_store(&lot), 39);
}

#[test]
fn copies_are_made_listed_and_read_through() {
    let network = Network::embedded();
    let farm = network.farm("Ashlode");
    farm.lot("Ember Lantern", 40);
    let none = farm.run(&["backup", "list"]).done();
    assert!(none.contains("No copies"), "{none}");
    let made = farm.run(&["backup", "make", "--json"]).json();
    let file = made["file"].as_str().unwrap();
    let whole = farm.run(&["backup", "verify", file]).done();
    assert!(whole.contains("is whole: the book of Ashlode with 2 entries"), "{whole}");
    farm.run(&["backup", "verify"]).done();
    let sheet = farm.file("stock.csv", "variety,count\nGlass Weir,12\n");
    farm.run(&["import", "stock", &sheet, "--yes"]).done();
    let listed = farm.run(&["backup", "list", "--json"]).json();
    let names: Vec<&str> = listed["copies"]
        .as_array()
        .unwrap()
        .iter()
        .map(|it| it["file"].as_str().unwrap())
        .collect();
    assert_eq!(names.len(), 2, "{names:?}");
    assert!(names.iter().any(|name| name.contains("before-import")), "{names:?}");
    let torn = std::fs::read(file).unwrap();
    let torn = farm.file("torn.copy", &torn[..torn.len() - 4096]);
    farm.run(&["backup", "verify", &torn]).ends_with(3);
}

/// Waits until something shows; the server's jobs turn at its start.
fn until<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    for _ in 0..600 {
        if let Some(found) = look() {
            return found;
        }
        std::thread::sleep(std::time::Duration::from_millis(100));
    }
    panic!("{what} never showed");
}

fn copies_in(folder: &Path) -> Vec<String> {
    let files = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let names = files.map(|file| file.file_name().into_string().unwrap());
    names.filter(|name| !name.contains(".partial")).collect()
}

on_both! {
fn a_server_that_was_down_over_the_night_makes_the_copy_at_its_start(kind: Kind) {
    let mut network = Network::on(kind);
    let farm = network.farm("Ashlode");
    farm.lot("Ember Lantern", 40);
    farm.sync();
    let safe = network.folder().join("safe");
    let folder = safe.to_str().unwrap().to_owned();
    let wanted = [("SPARELOOP_BACKUP_DIR", folder.as_str()), ("SPARELOOP_LOG", "info")];
    network.start_again_with(&wanted);
    let made = until("a copy", || copies_in(&safe).pop());
    until("its row", || network.server.log().contains("the nightly copy is in").then_some(()));
    // It is that day's, so neither another start nor another server makes one more.
    network.start_again_with(&wanted);
    let replica = (kind == Kind::Postgresql).then(|| network.replica("replica", &wanted));
    for server in [Some(&network.server), replica.as_ref()].into_iter().flatten() {
        until("a first turn", || server.log().contains("was read through").then_some(()));
    }
    std::thread::sleep(std::time::Duration::from_millis(500));
    assert_eq!(copies_in(&safe), std::slice::from_ref(&made));
    drop(replica);
    // And it is one: put back, it serves.
    network.server.kill();
    restore(&network, kind, safe.join(made).to_str().unwrap()).done();
    network.start_again();
    farm.sync();
}

fn a_nightly_copy_that_fails_is_told_loudly_and_the_copies_before_it_stay(kind: Kind) {
    let mut network = Network::on(kind);
    let in_the_way = network.folder().join("safe");
    std::fs::write(&in_the_way, "a file where the folder should be").unwrap();
    network.start_again_with(&[("SPARELOOP_BACKUP_DIR", in_the_way.to_str().unwrap())]);
    until("the failure", || network.server.log().contains("THE NIGHTLY COPY FAILED").then_some(()));
    until("the failure", || network.server.log().contains("tried again").then_some(()));
    server(&network, &["check"]).done();
}
}

#[test]
fn a_copy_of_postgresql_is_tried_out_and_a_damaged_or_unwanted_one_changes_nothing() {
    let mut network = Network::on(Kind::Postgresql);
    let farm = network.farm("Ashlode");
    farm.lot("Ember Lantern", 40);
    farm.sync();
    let copy = path(network.folder(), "network.dump");
    let told = server(&network, &["backup", "--drill", &copy]).ends_with(0);
    assert!(told.contains("1 farm") && told.contains("2 entries"), "{told}");
    let twice = server(&network, &["backup", &copy]).ends_with(3);
    assert!(twice.contains("is there already"), "{twice}");
    let nowhere = path(network.folder(), "no-programs");
    let missing = server(&network, &["backup", "--pg-bin", &nowhere, &format!("{copy}2")]);
    let missing = missing.ends_with(1);
    assert!(missing.contains("pg_dump") && missing.contains("--pg-bin"), "{missing}");

    network.server.kill();
    let there = server(&network, &["restore", &copy]).ends_with(3);
    assert!(there.contains("--replace"), "{there}");
    let whole = std::fs::read(&copy).unwrap();
    for part in [4, 8, 12, 15] {
        let mut flipped = whole.clone();
        let at = whole.len() * part / 16;
        flipped[at] ^= 0x10;
        let file = path(network.folder(), "flipped.dump");
        std::fs::write(&file, flipped).unwrap();
        let said = server(&network, &["restore", "--replace", &file]);
        // A byte that the format doesn't mind may be flipped; then what is in it is as it was.
        if said.exit != 0 {
            assert!(said.exit == 3 || said.exit == 1, "byte {at}: {}", said.err);
            assert!(said.err.contains("Nothing was changed"), "byte {at}: {}", said.err);
        }
        let whole = server(&network, &["check"]).ends_with(0);
        assert!(whole.contains("2 entries"), "byte {at}: {whole}");
    }
    network.start_again();
    farm.sync();
}
