//! Copies of the server's book and of the stock book: made while work goes on, put back, and
//! nothing is lost that a device holds.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::BTreeSet;
use std::path::Path;

use spareloop_tests::binaries::server_command;
use spareloop_tests::farm::{Device, Said};
use spareloop_tests::network::Network;

fn server(network: &Network, words: &[&str]) -> Said {
    Said::of(server_command(&network.data()).args(words))
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

#[test]
fn a_server_put_back_from_an_old_copy_gets_from_its_devices_what_it_lacks() {
    let mut network = Network::embedded();
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

    let running = server(&network, &["restore", &copy]).ends_with(1);
    assert!(running.contains("Stop that server first"), "{running}");
    network.server.kill();
    server(&network, &["restore", &copy]).done();
    network.start_again();

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
}

#[test]
fn a_device_notices_an_older_server_also_when_others_have_filled_it_up_again() {
    let mut network = Network::embedded();
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
    server(&network, &["restore", &copy]).done();
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
            && path.extension().is_none_or(|ending| ending != "wal" && ending != "shm")
    });
    let aside = aside.expect("the replaced book is kept").to_str().unwrap().to_owned();
    let kept = farm.run(&["--book", &aside, "export"]).done();
    assert_eq!(kept, before);
    farm.sync();
}
