//! Several devices of one farm, copied and restored ones, wrong ones and lost ones: nothing that
//! was noted is lost, and nothing reaches another farm.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::Value;
use spareloop_api::problem::ProblemCode;
use spareloop_tests::farm::Device;
use spareloop_tests::network::Network;

/// Entry ids, and that every chain is 1, 2, 3 ... without a gap.
#[track_caller]
fn whole(device: &Device) -> BTreeSet<String> {
    let mut chains: BTreeMap<String, u64> = BTreeMap::new();
    let mut ids = BTreeSet::new();
    for entry in device.entries() {
        let seq = chains.entry(entry["device"].to_string()).or_default();
        *seq += 1;
        assert_eq!(entry["seq"].as_u64(), Some(*seq), "{entry}");
        ids.insert(entry["id"].to_string());
    }
    ids
}

/// Exports as sets of lines: chains may lie in another order, never in other bytes.
fn exported(device: &Device) -> BTreeSet<String> {
    device.run(&["export"]).done().lines().map(ToOwned::to_owned).collect()
}

fn said(synced: &Value) -> String {
    synced["said"].to_string()
}

#[test]
fn what_two_devices_note_offline_is_on_both_after_a_sync() {
    let mut network = Network::embedded();
    let house = network.farm("Ashlode");
    let lot = house.lot("Ember Lantern", 40);
    house.sync();
    let bench = network.another_device("Ashlode", "phone-at-the-bench");
    assert_eq!(exported(&bench), exported(&house));
    assert_ne!(bench.id(), house.id());

    network.server.kill();
    house.lose(&lot, 2);
    bench.lose(&lot, 3);
    bench.run(&["lot", "move", &lot, "--to", "cellar / shelf 2"]).done();
    network.start_again();
    for device in [&house, &bench, &house] {
        device.sync();
    }
    assert_eq!(exported(&house), exported(&bench));
    assert_eq!(whole(&house).len(), 2 + 3);
    assert_eq!((house.in_store(&lot), bench.in_store(&lot)), (35, 35));
    let quiet = bench.sync();
    assert_eq!((&quiet["sent"], &quiet["fetched"]), (&Value::from(0), &Value::from(0)));
}

#[test]
fn a_cloned_device_takes_a_new_id_and_both_keep_what_they_noted() {
    let network = Network::embedded();
    let first = network.farm("Ashlode");
    let lot = first.lot("Ember Lantern", 40);
    first.sync();
    let clone = first.cloned_to(&network.folder().join("clone"));
    let before = first.id();
    first.lose(&lot, 2);
    clone.lose(&lot, 3);
    clone.lose(&lot, 4);
    let noted: BTreeSet<String> = whole(&first).union(&whole(&clone)).cloned().collect();

    assert_eq!(said(&first.sync()), "[]");
    let forked = said(&clone.sync());
    assert!(forked.contains("new device id") && forked.contains("Nothing is lost"), "{forked}");
    assert_eq!(first.id(), before);
    assert_ne!(clone.id(), before, "one place in a chain is never taken twice");
    first.sync();
    assert_eq!(exported(&first), exported(&clone));
    assert_eq!(whole(&first), noted);
    assert_eq!((first.in_store(&lot), clone.in_store(&lot)), (31, 31));
    assert_eq!(said(&clone.sync()), "[]", "it is said once");
}

#[test]
fn a_clone_that_noted_nothing_leaves_the_shared_id_before_it_can_fork() {
    let network = Network::embedded();
    let first = network.farm("Ashlode");
    let lot = first.lot("Ember Lantern", 40);
    first.sync();
    let clone = first.cloned_to(&network.folder().join("clone"));
    first.lose(&lot, 2);
    first.sync();
    let left = said(&clone.sync());
    assert!(left.contains("new device id"), "{left}");
    assert_ne!(clone.id(), first.id());
    first.lose(&lot, 3);
    clone.lose(&lot, 4);
    for device in [&first, &clone, &first] {
        assert_eq!(said(&device.sync()), "[]", "no fork came of it");
    }
    assert_eq!(exported(&first), exported(&clone));
    assert_eq!(first.in_store(&lot), 31);
}

#[test]
fn the_server_refuses_a_fork_by_that_name() {
    let network = Network::embedded();
    let first = network.farm("Ashlode");
    let lot = first.lot("Ember Lantern", 40);
    first.sync();
    let clone = first.cloned_to(&network.folder().join("clone"));
    first.lose(&lot, 2);
    clone.lose(&lot, 3);
    first.sync();
    let kept = exported(&first);
    let forked: Vec<_> = clone
        .run(&["export"])
        .done()
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    let pushed = network.bring(&clone, forked);
    assert_eq!(pushed.stored, 0);
    assert_eq!(pushed.refused.len(), 1);
    assert_eq!(pushed.refused[0].code, ProblemCode::Fork);
    first.sync();
    assert_eq!(exported(&first), kept);
}

#[test]
fn a_device_put_back_from_an_old_copy_fetches_what_it_lacks_and_goes_on() {
    let network = Network::embedded();
    let farm = network.farm("Ashlode");
    let lot = farm.lot("Ember Lantern", 40);
    farm.sync();
    let copy = network.folder().join("copy.sqlite");
    let copy = copy.to_str().unwrap();
    farm.run(&["backup", "make", copy]).done();
    farm.lose(&lot, 1);
    farm.lose(&lot, 2);
    farm.sync();
    let (sent, before) = (whole(&farm), farm.id());

    farm.run(&["backup", "restore", copy, "--yes"]).done();
    assert_eq!(farm.in_store(&lot), 40);
    farm.lose(&lot, 5);
    let synced = said(&farm.sync());
    assert!(synced.contains("older copy") && synced.contains("Nothing is lost"), "{synced}");
    assert_ne!(farm.id(), before);
    let after = whole(&farm);
    assert!(after.is_superset(&sent));
    assert_eq!(after.len(), sent.len() + 1);
    assert_eq!(farm.in_store(&lot), 32);
    let other = network.another_device("Ashlode", "phone");
    assert_eq!(exported(&other), exported(&farm));
}

#[test]
fn a_book_of_another_farm_is_not_connected_and_nothing_of_it_is_sent() {
    let network = Network::embedded();
    let farm = network.farm("Ashlode");
    farm.lot("Ember Lantern", 40);
    farm.sync();
    let kept = exported(&farm);
    let stranger = Device::of_a_farm(&network.folder().join("stranger"), "Elsewhere");
    stranger.lot("Moss Anthem", 12);
    let own = exported(&stranger);
    let words = ["farm", "connect", "--server", &network.server.url, "--login", "ashlode"];
    let refused = stranger.run(&words).ends_with(3);
    assert!(refused.contains("another farm") && refused.contains("Nothing was sent"), "{refused}");
    assert!(refused.trim_end().lines().last().unwrap().contains("spareloop farm"), "{refused}");
    stranger.run(&["sync"]).ends_with(4);
    assert_eq!(exported(&stranger), own);

    // Not by the back door either: the server knows whose device a token is of.
    let entries: Vec<_> = own.iter().map(|line| serde_json::from_str(line).unwrap()).collect();
    let pushed = network.bring(&farm, entries);
    assert_eq!(pushed.stored, 0);
    assert!(!pushed.refused.is_empty());
    assert!(pushed.refused.iter().all(|entry| entry.code == ProblemCode::WrongFarm));
    farm.sync();
    assert_eq!(exported(&farm), kept);
}

#[test]
fn a_device_that_was_shut_out_syncs_no_more_and_its_entries_stay() {
    let network = Network::embedded();
    let house = network.farm("Ashlode");
    let lot = house.lot("Ember Lantern", 40);
    house.sync();
    let lost = network.another_device("Ashlode", "lost-phone");
    lost.lose(&lot, 3);
    lost.sync();
    house.run(&["farm", "devices", "--shut-out", &lost.id(), "--yes"]).done();

    lost.lose(&lot, 1);
    let noted = exported(&lost);
    let refused = lost.run(&["sync"]).ends_with(4);
    assert!(refused.contains("shut out") && refused.contains("Kept here: 1 entry"), "{refused}");
    assert_eq!(exported(&lost), noted);
    house.sync();
    assert_eq!(house.in_store(&lot), 37, "what it sent before stays, what it keeps is not here");
}
