//! Really full and really read-only disks, a small one mounted for the purpose: every command says
//! so and keeps what was there, and all goes on when there is room.

use spareloop_tests::crash::small_disk::SmallDisk;
use spareloop_tests::crash::standing::{Standing, sqlite_is_whole};
use spareloop_tests::crash::yard::sheet;
use spareloop_tests::farm::Device;
use spareloop_tests::network::Network;

#[test]
fn on_a_full_disk_an_import_a_sync_and_a_copy_fail_whole_and_are_done_when_there_is_room() {
    let Some(disk) = SmallDisk::of(1_500, "the grower's full disk") else { return };
    let network = Network::embedded();
    let farm = Device::of_a_farm(&disk.folder().join("farm"), "Ashlode");
    network.connect(&farm, "Ashlode");
    farm.sync();
    let phone = network.another_device("Ashlode", "phone");
    phone.run(&["import", "stock", &phone.file("more.csv", sheet(500, 120)), "--yes"]).done();
    phone.sync();
    let stock = farm.file("stock.csv", sheet(0, 120));
    let copy = disk.folder().join("copy.sqlite");
    let import = ["import", "stock", &stock, "--yes"];
    let back_up = ["backup", "make", copy.to_str().unwrap()];
    let before = farm.run(&["export"]).done();

    // Room to open the book and no more.
    disk.fill_but(64);
    for words in [&import[..], &back_up[..], &["sync"]] {
        let said = farm.run(words).ends_with(1);
        assert!(said.contains("disk is full"), "{words:?}: {said}");
        assert!(said.contains("kept"), "{words:?}: {said}");
        assert_eq!(farm.run(&["export"]).done(), before, "{words:?}");
    }
    assert!(!copy.exists(), "half a copy is none");
    disk.empty();
    assert!(matches!(Standing::of(&farm), Ok(Standing::Book(_))));
    farm.run(&import).done();
    farm.run(&back_up).done();
    farm.sync();
    phone.sync();
    assert_eq!(farm.run(&["export"]).done(), phone.run(&["export"]).done());
}

#[test]
fn a_server_on_a_full_disk_says_so_and_goes_on_by_itself_when_there_is_room() {
    let Some(disk) = SmallDisk::of(8_000, "the server's full disk") else { return };
    let network = Network::embedded_in(disk.folder());
    let elsewhere = tempfile::tempdir().unwrap();
    let farm = Device::of_a_farm(elsewhere.path(), "Ashlode");
    network.connect(&farm, "Ashlode");
    farm.sync();
    farm.run(&["import", "stock", &farm.file("stock.csv", sheet(0, 200)), "--yes"]).done();
    let before = farm.run(&["export"]).done();
    disk.fill_but(0);
    let said = farm.run(&["sync"]).ends_with(6);
    assert!(said.contains("can't reach its book"), "{said}");
    assert!(said.contains("Kept here"), "{said}");
    disk.empty();
    farm.sync();
    assert_eq!(farm.run(&["export"]).done(), before);
    sqlite_is_whole(&network.data().join("spareloop.sqlite")).unwrap();
    let status = farm.run(&["status", "--json"]).json();
    assert_eq!(status["unsent"], 0);
}

#[test]
fn on_a_read_only_disk_nothing_is_noted_and_nothing_is_lost() {
    let Some(disk) = SmallDisk::of(1_500, "the read-only disk") else { return };
    let farm = Device::of_a_farm(&disk.folder().join("farm"), "Ashlode");
    let lot = farm.lot("Ember Lantern", 40);
    let before = farm.run(&["export"]).done();
    disk.remount("ro");
    let words = ["lot", "lose", &lot, "--count", "1", "--cause", "rot"];
    let said = farm.run(&words).ends_with(1);
    assert!(said.contains("what the book held before is kept"), "{said}");
    assert!(said.contains("who may write"), "{said}");
    disk.remount("rw");
    assert_eq!(farm.run(&["export"]).done(), before);
    farm.lose(&lot, 1);
}
