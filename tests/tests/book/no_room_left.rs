//! A full disk and a book that may not be written, on the grower's side and on the server's: a
//! clear word, the documented exit code, and everything that was acknowledged is there afterwards.

use std::fmt::Write;
use std::os::unix::fs::{MetadataExt, PermissionsExt};
use std::os::unix::process::CommandExt;
use std::path::Path;

use spareloop_tests::binaries::{binary, with_little_room};
use spareloop_tests::farm::{Device, Said};
use spareloop_tests::network::Network;

/// A stock sheet of `rows` lots, labelled from `first` on.
fn sheet(first: usize, rows: usize) -> String {
    let mut text = "variety,count,lot\n".to_owned();
    for row in first..first + rows {
        // Writing to a String can't fail.
        let _ = writeln!(text, "Moss Anthem,5,L{row}");
    }
    text
}

/// Kilobytes of the largest of the book's files.
fn size(device: &Device) -> u64 {
    std::fs::metadata(device.book()).unwrap().len() / 1024
}

#[test]
fn a_disk_that_fills_up_keeps_all_that_was_acknowledged_and_nothing_by_halves() {
    let folder = tempfile::tempdir().unwrap();
    let farm = Device::of_a_farm(folder.path(), "Ashlode");
    farm.run(&["import", "stock", &farm.file("first.csv", sheet(0, 40)), "--yes"]).done();
    // Reading goes by the same small room: a reader with more would tidy the file up.
    let room = size(&farm) + 60;
    let run = |words: &[&str]| Said::of(&mut with_little_room(&farm.command(words), &[], room));
    let mut acknowledged = run(&["export"]).done();
    let mut tries = 0;
    let said = loop {
        tries += 1;
        assert!(tries < 100, "the limit never bit");
        let file = farm.file("more.csv", sheet(tries * 100, 60));
        let said = run(&["import", "stock", &file, "--yes", "--no-input"]);
        if said.exit != 0 {
            break said.ends_with(1);
        }
        acknowledged = run(&["export"]).done();
    };
    assert!(tries > 1, "some of it has to fit, else nothing is shown");
    assert!(said.contains("The disk is full"), "{said}");
    assert!(said.contains("what the book held before is kept"), "{said}");
    assert_eq!(run(&["export"]).done(), acknowledged, "still without room");
    assert_eq!(farm.run(&["export"]).done(), acknowledged, "and with room again");
    let file = farm.file("more.csv", sheet(tries * 100, 60));
    farm.run(&["import", "stock", &file, "--yes"]).done();
    assert!(farm.entries().len() > acknowledged.lines().count());
}

#[test]
fn a_sync_onto_a_full_disk_fetches_the_rest_when_there_is_room() {
    let network = Network::embedded();
    let house = network.farm("Ashlode");
    house.sync();
    let phone = network.another_device("Ashlode", "phone");
    house.run(&["import", "stock", &house.file("stock.csv", sheet(0, 700)), "--yes"]).done();
    house.sync();
    let room = size(&phone) + 300;
    let command = phone.command(&["sync", "--no-input"]);
    let said = Said::of(&mut with_little_room(&command, &[], room)).ends_with(1);
    assert!(said.contains("The disk is full") && said.contains("Make room"), "{said}");
    phone.run(&["status"]).done();
    phone.sync();
    assert_eq!(phone.run(&["export"]).done(), house.run(&["export"]).done());
}

#[test]
fn a_book_that_may_not_be_written_is_said_and_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let farm = Device::of_a_farm(&folder.path().join("farm"), "Ashlode");
    let lot = farm.lot("Ember Lantern", 40);
    let before = farm.run(&["export"]).done();
    let mode = |path: &Path, mode| {
        std::fs::set_permissions(path, PermissionsExt::from_mode(mode)).unwrap();
    };
    let home = farm.book().parent().unwrap().to_owned();
    mode(folder.path(), 0o755);
    mode(&home, 0o555);
    mode(farm.book(), 0o444);
    let words = ["lot", "lose", &lot, "--count", "1", "--cause", "rot", "--no-input"];
    let said = Said::of(&mut as_somebody_else(&farm, folder.path(), &words)).ends_with(1);
    mode(&home, 0o755);
    mode(farm.book(), 0o644);
    assert!(said.contains("what the book held before is kept"), "{said}");
    let last = said.trim_end().lines().last().unwrap();
    assert!(last.contains("who may write"), "{said}");
    assert_eq!(farm.run(&["export"]).done(), before);
    farm.lose(&lot, 1);
}

/// Root may write anything, so root's tests run the program as nobody, from a place that anybody
/// can read.
fn as_somebody_else(farm: &Device, folder: &Path, words: &[&str]) -> std::process::Command {
    let command = farm.command(words);
    if std::fs::metadata("/proc/self").unwrap().uid() != 0 {
        return command;
    }
    let program = folder.join("spareloop");
    std::fs::copy(binary("spareloop"), &program).unwrap();
    let mut somebody = std::process::Command::new(program);
    somebody.args(words).env_clear().current_dir(folder).uid(65534);
    somebody.envs(command.get_envs().filter_map(|(name, value)| Some((name, value?))));
    somebody
}

#[test]
fn a_server_whose_disk_is_full_says_so_and_takes_the_rest_later() {
    let mut network = Network::embedded();
    let farm = network.farm("Ashlode");
    farm.sync();
    network.start_again_with_little_room(2_000);
    farm.run(&["import", "stock", &farm.file("stock.csv", sheet(0, 2_500)), "--yes"]).done();
    let before = farm.run(&["export"]).done();
    let said = farm.run(&["sync"]).ends_with(6);
    assert!(said.contains("Kept here"), "{said}");
    assert!(said.contains("can't reach its book"), "the problem is unavailable: {said}");
    assert_eq!(farm.run(&["export"]).done(), before);
    network.start_again();
    // More than one sync carries at once may wait, so it is given until it is quiet.
    while farm.sync()["sent"] != 0 {}
    let phone = network.another_device("Ashlode", "phone");
    assert_eq!(phone.run(&["export"]).done(), before);
}
