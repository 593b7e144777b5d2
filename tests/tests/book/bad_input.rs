//! What people and machines get wrong, on a farm that is connected: the documented exit code, a
//! last line to act on, nothing noted, nothing sent, and the next sync as if nothing had been.
//!
//! What each refusal says word for word is held in the client's own snapshots.

use std::io::Write;
use std::process::{Command, Stdio};

use serde_json::Value;
use spareloop_api::client::Client;
use spareloop_api::exchange::Board;
use spareloop_tests::farm::{Device, Said};
use spareloop_tests::network::Network;

/// A farm with 40 of 'Ember Lantern' stored on 2 November 2025, all of it on the server.
struct Yard {
    network: Network,
    farm: Device,
    lot: String,
}

fn yard() -> Yard {
    let network = Network::embedded();
    let farm = network.farm("Ashlode");
    let lot = farm.lot("Ember Lantern", 40);
    farm.sync();
    Yard { network, farm, lot }
}

impl Yard {
    fn sheet(&self) -> Board {
        Client::board(&self.network.person("ashlode")).unwrap()
    }

    /// Nothing came of it: the book, the server's feed and the network's sheet are as before.
    #[track_caller]
    fn is_as_before(&self, export: &str) {
        assert_eq!(self.farm.run(&["export"]).done(), export);
        let quiet = self.farm.sync();
        assert_eq!((&quiet["sent"], &quiet["fetched"]), (&Value::from(0), &Value::from(0)));
        assert_eq!(quiet["acts_done"].as_array().unwrap().len(), 0);
        let sheet = self.sheet();
        assert!(sheet.offers.is_empty() && sheet.wants.is_empty());
    }
}

#[test]
fn counts_days_and_names_that_can_not_be_are_refused() {
    let yard = yard();
    let (farm, lot) = (&yard.farm, yard.lot.as_str());
    let before = farm.run(&["export"]).done();
    let lose = ["lot", "lose", lot, "--cause", "rot", "--count"];
    let check = ["check", "add", lot, "--sound", "40", "--on"];
    let cases: &[(&[&str], &[&str], i32)] = &[
        (&lose, &["-3"], 3),
        (&lose, &["0"], 3),
        (&lose, &["41"], 3),
        (&lose, &["400000000000000000000"], 3),
        (&lose, &["1.5"], 3),
        (&lose, &["some"], 3),
        (&["check", "add", lot, "--sound", "41"], &[], 5),
        (&["check", "add", lot, "--inspected", "40", "--sound", "40", "--rot", "1"], &[], 3),
        (&check, &["2025-10-01"], 3),
        (&check, &["2999-01-01"], 3),
        (&check, &["2026-02-31"], 3),
        (&["lot", "show", "ZZZZZ"], &[], 3),
        (&["lot", "opening", "Ember Lantren", "--count", "3"], &[], 3),
        (&["lot", "lose", lot, "--count", "1", "--cause", "rto"], &[], 3),
        (&["offer", "make", lot, "--count"], &["41"], 3),
        (&["offer", "make", lot, "--count"], &["-1"], 3),
        (&["offer", "make", lot, "--count", "5", "--least", "6"], &[], 3),
        (&["offer", "make", lot, "--count", "0"], &[], 3),
        (&["want", "make", "Moss Anthem", "--count"], &["0"], 3),
        (&["want", "make", "Moss Anthem", "--count"], &["-2"], 3),
        (&["want", "make", "", "--count", "2"], &[], 3),
        (&["hold", "ask", "not-an-id", "--count", "2", "--value", "1"], &[], 3),
        (
            &[
                "hold",
                "ask",
                "0198c0de-0000-7000-8000-000000000000",
                "--count",
                "2",
                "--value",
                "1",
            ],
            &[],
            3,
        ),
        (&["hold", "agree", "0198c0de-0000-7000-8000-000000000000", "--yes"], &[], 3),
        (
            &[
                "handover",
                "receive",
                "0198c0de-0000-7000-8000-000000000000",
                "--received",
                "2",
                "--yes",
            ],
            &[],
            3,
        ),
        (&["offer", "mkae"], &[], 2),
        (&["offer", "make", lot], &[], 2),
    ];
    for (words, more, exit) in cases {
        let said = farm.run(&[*words, *more].concat());
        assert_eq!(said.exit, *exit, "{words:?} {more:?}: {}{}", said.out, said.err);
        assert!(!said.err.trim().is_empty(), "{words:?} {more:?} says nothing");
        assert!(!said.err.contains("panicked"), "{}", said.err);
    }
    yard.is_as_before(&before);
}

#[test]
fn a_near_miss_is_answered_with_the_name_that_was_meant() {
    let yard = yard();
    let near = |words: &[&str]| yard.farm.run(words).ends_with(3);
    let said = near(&["forecast", "Ember Lantren"]);
    assert!(said.contains("Ember Lantern"), "{said}");
    let said = near(&["lot", "lose", &yard.lot, "--count", "1", "--cause", "rto"]);
    assert!(said.contains("rot"), "{said}");
    let rows = "variety,count\nEmber Lantren,4\n";
    let said = yard.farm.run(&["import", "stock", &yard.farm.file("near.csv", rows), "--yes"]);
    assert!(said.exit == 3 && format!("{}{}", said.out, said.err).contains("Ember Lantern"));
}

#[test]
fn files_as_office_programs_write_them_are_read_and_wrong_ones_name_their_rows() {
    let yard = yard();
    let farm = &yard.farm;
    let before = farm.run(&["export"]).done();
    let import = |name: &str, content: &[u8]| {
        farm.run(&["import", "stock", &farm.file(name, content), "--yes"])
    };
    let wrong: &[(&str, &[u8], i32, &str)] = &[
        ("missing.csv", b"variety,heap\nMoss Anthem,4\n", 5, "count"),
        ("negative.csv", b"variety,count\nMoss Anthem,-4\n", 3, "row 2"),
        ("huge.csv", b"variety,count\nMoss Anthem,4000000000\n", 3, "row 2"),
        ("halves.csv", b"variety;count\nMoss Anthem;1,5\n", 3, "row 2"),
        ("later.csv", b"variety,count,stored on\nMoss Anthem,4,2999-01-01\n", 3, "row 2"),
        ("two-ways.csv", b"variety,count,stored on\nMoss Anthem,4,3/11/2025\n", 5, "--date-order"),
        ("empty.csv", b"", 3, ""),
        ("binary.csv", b"PK\x03\x04\x00\x00\xff\xfe\x00", 3, ""),
    ];
    for (name, content, exit, word) in wrong {
        let said = import(name, content);
        let all = format!("{}{}", said.out, said.err);
        assert_eq!(said.exit, *exit, "{name}: {all}");
        assert!(all.to_lowercase().contains(word), "{name}: {all}");
    }
    yard.is_as_before(&before);

    // Semicolons, decimal commas, Windows-1252; then a byte-order mark and tabs.
    let old =
        b"\"Variety\";How many;Stored;Where\n\"Caf\xE9 au soir\";12,0;3.11.2025;cellar / shelf 1\n";
    import("old.csv", old).done();
    import("new.csv", "\u{feff}variety\tcount\nMoss Anthem\t7\n".as_bytes()).done();
    let lots = farm.run(&["lot", "list", "--json"]).json();
    let counts: Vec<(&str, u64)> = lots["lots"]
        .as_array()
        .unwrap()
        .iter()
        .map(|lot| {
            (lot["variety"].as_str().unwrap().trim_matches('\''), lot["in_store"].as_u64().unwrap())
        })
        .collect();
    assert_eq!(counts, [("Café au soir", 12), ("Ember Lantern", 40), ("Moss Anthem", 7)]);
    // What was read so is the same on another device.
    farm.sync();
    let phone = yard.network.another_device("Ashlode", "phone");
    assert_eq!(phone.run(&["export"]).done(), farm.run(&["export"]).done());
}

#[test]
fn a_million_rows_are_refused_in_bounded_memory() {
    let folder = tempfile::tempdir().unwrap();
    let farm = Device::of_a_farm(folder.path(), "Ashlode");
    let before = farm.run(&["export"]).done();
    let command = farm.command(&["import", "stock", "-", "--yes", "--no-input"]);
    // 400 MB of address space hold the program itself and a bounded number of rows.
    let mut shell = Command::new("/bin/bash");
    shell.args(["-c", "ulimit -v 400000; exec \"$0\" \"$@\""]).arg(command.get_program());
    shell.args(command.get_args()).env_clear().current_dir(folder.path());
    shell.envs(command.get_envs().filter_map(|(name, value)| Some((name, value?))));
    let mut child =
        shell.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let mut rows = child.stdin.take().unwrap();
    let writer = std::thread::spawn(move || {
        let thousand = "Ember Lantern,40,2025-11-02,cellar,own lifting\n".repeat(1000);
        let header = rows.write_all(b"variety,count,stored on,place,origin\n");
        // It may have read enough before the end, and closed the pipe.
        let _ =
            header.and_then(|()| (0..1000).try_for_each(|_| rows.write_all(thousand.as_bytes())));
    });
    let ended = child.wait_with_output().unwrap();
    writer.join().unwrap();
    let said = Said {
        exit: ended.status.code().unwrap_or(-1),
        out: String::from_utf8_lossy(&ended.stdout).into_owned(),
        err: String::from_utf8_lossy(&ended.stderr).into_owned(),
    };
    let told = said.ends_with(3);
    assert!(told.contains("200,000"), "{told}");
    assert_eq!(farm.run(&["export"]).done(), before);
}
