//! Two and more programs on one stock book: every entry once, chains without gaps, and a clear
//! word when one has to give up waiting.

use std::collections::BTreeSet;

use diesel::connection::SimpleConnection;
use diesel::{Connection, SqliteConnection};
use spareloop_tests::farm::{Device, Said, all_succeed};
use spareloop_tests::network::Network;

const AT_ONCE: usize = 12;

#[test]
fn many_programs_at_once_note_every_entry_once() {
    let network = Network::embedded();
    let farm = network.farm("Ashlode");
    let lot = farm.lot("Ember Lantern", 100);
    let before = farm.entries().len();
    // Half of them note something, half of them sync meanwhile.
    let running: Vec<_> = (0..AT_ONCE)
        .map(|number| {
            let words: &[&str] = if number % 2 == 0 {
                &["lot", "lose", &lot, "--count", "1", "--cause", "rot"]
            } else {
                &["sync"]
            };
            farm.begin(words)
        })
        .collect();
    all_succeed(running);
    farm.sync();
    let entries = farm.entries();
    assert_eq!(entries.len(), before + AT_ONCE / 2);
    let ids: BTreeSet<String> = entries.iter().map(|entry| entry["id"].to_string()).collect();
    assert_eq!(ids.len(), entries.len());
    let places: Vec<u64> = entries.iter().map(|entry| entry["seq"].as_u64().unwrap()).collect();
    let expected: Vec<u64> = (1..=entries.len() as u64).collect();
    assert_eq!(places, expected, "one device, one chain, no gap");
    assert_eq!(farm.in_store(&lot), 100 - AT_ONCE as u64 / 2);
    let other = network.another_device("Ashlode", "phone");
    assert_eq!(other.entries(), entries);
}

#[test]
fn two_people_who_note_fifty_looks_each_at_the_same_time_have_noted_a_hundred() {
    const EACH: usize = 50;
    let folder = tempfile::tempdir().unwrap();
    let farm = Device::of_a_farm(folder.path(), "Ashlode");
    let lot = farm.lot("Ember Lantern", 40);
    let before = farm.entries().len();
    let look = ["check", "add", &lot, "--inspected", "2", "--sound", "2", "--sample"];
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                for _ in 0..EACH {
                    let mut command = farm.command(&look);
                    command.arg("--no-input").env("SPARELOOP_WAIT_FOR_BOOK", "60");
                    Said::of(&mut command).done();
                }
            });
        }
    });
    let entries = farm.entries();
    let places: Vec<u64> = entries.iter().map(|entry| entry["seq"].as_u64().unwrap()).collect();
    let expected: Vec<u64> = (1..=(before + 2 * EACH) as u64).collect();
    assert_eq!(places, expected, "every look once, and no gap");
    farm.run(&["doctor", "--offline"]).done();
}

#[test]
fn a_book_that_another_program_holds_is_waited_for_and_then_said_so() {
    let folder = tempfile::tempdir().unwrap();
    let farm = Device::of_a_farm(folder.path(), "Ashlode");
    let lot = farm.lot("Ember Lantern", 40);
    let before = farm.run(&["export"]).done();
    let mut holder = SqliteConnection::establish(farm.book().to_str().unwrap()).unwrap();
    holder.batch_execute("BEGIN IMMEDIATE").unwrap();
    let words = ["lot", "lose", &lot, "--count", "1", "--cause", "rot", "--no-input"];
    let mut command = farm.command(&words);
    let ended = command.env("SPARELOOP_WAIT_FOR_BOOK", "1").output().unwrap();
    let said = String::from_utf8(ended.stderr).unwrap();
    assert_eq!(ended.status.code(), Some(1), "{said}");
    assert!(said.contains("Another program is writing to this stock book"), "{said}");
    assert!(said.contains("Nothing of this command was noted"), "{said}");
    assert_eq!(farm.run(&["export"]).done(), before, "reading goes on meanwhile");
    holder.batch_execute("ROLLBACK").unwrap();
    farm.lose(&lot, 1);
    assert_eq!(farm.in_store(&lot), 39);
}
