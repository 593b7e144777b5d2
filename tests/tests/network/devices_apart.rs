//! A farm on several machines that don't see one another for long, of several versions, with clocks
//! set wrong, and a server that was put back meanwhile: in the end all hold the same.

use std::collections::BTreeSet;

use spareloop_domain::ledger::{Body, Draft, Entry, Hash, Seq, Stamp};
use spareloop_domain::words::{DeviceId, EntryId};
use spareloop_tests::binaries::server_command;
use spareloop_tests::farm::{Device, Said, all_succeed};
use spareloop_tests::network::{Network, id};

fn exported(device: &Device) -> BTreeSet<String> {
    device.run(&["export"]).done().lines().map(ToOwned::to_owned).collect()
}

/// An entry of the first place of a chain that no program here wrote.
fn foreign(farm: &Device, kind: &str, at: Stamp) -> Entry {
    let like: Entry = serde_json::from_value(farm.entries().remove(0)).unwrap();
    let body = Body::Newer { kind: kind.to_owned(), body: serde_json::json!({"v": 7, "x": 0.1}) };
    let draft = Draft { id: EntryId::new(id()), on: like.on, body };
    let device = DeviceId::new(id());
    Entry::seal(draft, like.farm, device, Seq::FIRST, at, Hash::START).unwrap()
}

fn push(network: &Network, by: &Device, entry: &Entry) {
    let pushed = network.bring(by, vec![entry.clone()]);
    assert_eq!((pushed.stored, pushed.refused), (1, vec![]));
}

fn millis(days_from_now: u64) -> u64 {
    let now = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).unwrap();
    u64::try_from(now.as_millis()).unwrap() + days_from_now * 86_400_000
}

#[test]
fn a_farm_on_two_machines_for_a_month_apart_has_one_book_afterwards() {
    let mut network = Network::embedded();
    let house = network.farm("Ashlode");
    let lots: Vec<String> =
        ["Ember Lantern", "Moss Anthem"].iter().map(|name| house.lot(name, 60)).collect();
    house.sync();
    let bench = network.another_device("Ashlode", "bench");
    network.server.kill();
    // Both note what happened on the other one's days too, late and out of order.
    for day in (1..=28).rev() {
        let on = format!("2026-02-{day:02}");
        let (here, lot) = if day % 2 == 0 { (&house, &lots[0]) } else { (&bench, &lots[1]) };
        here.run(&["lot", "lose", lot, "--count", "1", "--cause", "rot", "--on", &on]).done();
        if day % 7 == 0 {
            let other = if day % 2 == 0 { &bench } else { &house };
            let place = format!("cellar / shelf {day}");
            other.run(&["lot", "move", lot, "--to", &place, "--on", &on]).done();
        }
    }
    network.start_again();
    for device in [&house, &bench, &house] {
        device.sync();
    }
    assert_eq!(exported(&house), exported(&bench));
    for lot in &lots {
        let shown = |device: &Device| device.run(&["lot", "show", lot, "--json"]).json();
        assert_eq!(shown(&house), shown(&bench));
        assert_eq!(house.in_store(lot), 60 - 14);
    }
    let status = |device: &Device| device.run(&["status", "--json"]).json();
    assert_eq!(status(&house)["problems"], status(&bench)["problems"]);
    assert_eq!(house.run(&["log", "--all"]).done(), bench.run(&["log", "--all"]).done());
}

#[test]
fn what_a_newer_version_noted_is_kept_passed_on_and_said_to_be_that() {
    let network = Network::embedded();
    let farm = network.farm("Ashlode");
    farm.lot("Ember Lantern", 40);
    farm.sync();
    let newer = foreign(&farm, "graft", Stamp { millis: millis(0), counter: 0 });
    push(&network, &farm, &newer);
    farm.sync();
    let phone = network.another_device("Ashlode", "phone");
    for device in [&farm, &phone] {
        let log = device.run(&["log"]).done();
        assert!(log.contains("noted by a newer version"), "{log}");
        let whole = serde_json::to_value(&newer).unwrap();
        assert!(device.entries().contains(&whole), "to the last bit");
    }
}

#[test]
fn a_clock_set_days_ahead_is_shown_and_no_other_device_follows_it() {
    let network = Network::embedded();
    let farm = network.farm("Ashlode");
    let lot = farm.lot("Ember Lantern", 40);
    farm.sync();
    let ahead = Stamp { millis: millis(3), counter: 0 };
    push(&network, &farm, &foreign(&farm, "letter", ahead));
    farm.sync();
    farm.lose(&lot, 1);
    let own = farm.entries().into_iter().rfind(|entry| entry["kind"] == "loss").unwrap();
    assert!(own["at"]["millis"].as_u64().unwrap() < ahead.millis);
    let log = farm.run(&["log"]).done();
    assert!(log.contains("clock was more than a day ahead"), "{log}");
    let status = farm.run(&["status"]).done();
    assert!(status.contains("set that device's clock right"), "{status}");
}

#[test]
fn a_device_that_the_restored_server_never_knew_comes_home_by_another_one() {
    let mut network = Network::embedded();
    let house = network.farm("Ashlode");
    let lot = house.lot("Ember Lantern", 40);
    house.sync();
    let copy = network.folder().join("network.sqlite");
    let copy = copy.to_str().unwrap().to_owned();
    let server = |network: &Network, words: &[&str]| {
        Said::of(server_command(&network.data()).args(words)).done();
    };
    server(&network, &["backup", &copy]);
    let phone = network.another_device("Ashlode", "phone-at-the-bench");
    phone.lose(&lot, 4);
    phone.sync();
    house.sync();
    network.server.kill();
    server(&network, &["restore", &copy]);
    network.start_again();

    house.sync();
    let devices = || house.run(&["farm", "devices"]).done();
    assert!(devices().contains("brought by another device"), "{}", devices());
    let tablet = network.another_device("Ashlode", "tablet");
    assert_eq!(tablet.in_store(&lot), 36);
    phone.lose(&lot, 1);
    phone.run(&["farm", "connect"]).done();
    phone.sync();
    assert!(devices().contains("phone-at-the-bench"), "{}", devices());
    assert!(!devices().contains("brought by another device"), "{}", devices());
    house.sync();
    assert_eq!((house.in_store(&lot), exported(&house)), (35, exported(&phone)));
}

#[test]
fn programs_that_sync_one_clone_at_once_agree_on_its_new_id() {
    let network = Network::embedded();
    let first = network.farm("Ashlode");
    let lot = first.lot("Ember Lantern", 60);
    first.sync();
    let clone = first.cloned_to(&network.folder().join("clone"));
    first.lose(&lot, 1);
    first.sync();
    clone.lose(&lot, 2);
    clone.lose(&lot, 3);
    let noted = exported(&clone).len();
    all_succeed((0..6).map(|_| clone.begin(&["sync", "--no-input"])).collect());
    for device in [&clone, &first, &clone] {
        device.sync();
    }
    assert_eq!(exported(&clone), exported(&first));
    assert_eq!(exported(&clone).len(), noted + 1, "every entry once");
    assert_eq!((clone.in_store(&lot), first.in_store(&lot)), (54, 54));
}
