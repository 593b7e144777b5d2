//! The whole book.

use std::collections::BTreeMap;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use serde_json::Value;
use spareloop_tests::binaries::with_little_room;
use spareloop_tests::farm::{Device, Said};
use spareloop_tests::network::Network;

use super::{CHECKS, STOCK, farm_in, path, seen};

#[test]
fn a_book_taken_to_a_new_machine_is_the_same_book() {
    let folder = tempfile::tempdir().unwrap();
    let old = farm_in(&folder.path().join("old"));
    let file = path(folder.path(), "ashlode.jsonl");
    let said = old.run(&["export", "book", "--to", &file]).done();
    assert!(said.contains("each in full"), "{said}");
    let new = Device::in_folder(&folder.path().join("new"));
    let rehearsed = new.run(&["import", "book", &file, "--device", "new laptop", "--dry-run"]);
    assert!(rehearsed.done().contains("would have"));
    assert!(!new.book().exists(), "a rehearsal leaves nothing behind");
    new.run(&["import", "ledger", &file, "--device", "new laptop"]).done();
    assert_eq!(new.run(&["export"]).done(), old.run(&["export"]).done());
    assert_eq!(seen(&new), seen(&old));
    assert_ne!(new.id(), old.id());

    // What imports remember came along: the same sheets add nothing.
    for (kind, sheet) in [("stock", STOCK), ("checks", CHECKS)] {
        let file = new.file(&format!("{kind}.csv"), sheet);
        let again = new.run(&["import", kind, &file, "--yes"]).done();
        assert!(again.contains("Nothing to write"), "{again}");
    }
    // The entries left the old machine, so it strikes out from now on and withdraws nothing.
    old.lose("A1", 1);
    old.run(&["export", "book", "--to", &file, "--replace"]).done();
    assert!(old.run(&["undo"]).done().contains("Struck out"));

    let same = Device::in_folder(&folder.path().join("same"));
    same.run(&["import", "book", &file, "--same-device"]).done();
    assert_eq!(same.id(), old.id());
}

#[test]
fn books_that_were_noted_in_on_both_sides_are_equal_once_each_took_the_others() {
    let folder = tempfile::tempdir().unwrap();
    let house = farm_in(&folder.path().join("house"));
    let (out, back) = (path(folder.path(), "out.jsonl"), path(folder.path(), "back.jsonl"));
    house.run(&["export", "book", "--to", &out]).done();
    let barn = Device::in_folder(&folder.path().join("barn"));
    barn.run(&["import", "book", &out, "--device", "barn"]).done();
    house.lose("A1", 3);
    barn.lose("A2", 2);
    barn.run(&["lot", "move", "A3", "--to", "barn / loft"]).done();
    house.run(&["export", "book", "--to", &out, "--replace"]).done();
    barn.run(&["export", "book", "--to", &back]).done();

    let before = house.run(&["export"]).done();
    let preview = house.run(&["import", "book", &back]);
    assert_eq!(preview.exit, 5);
    assert!(preview.out.contains("2 new") && preview.out.contains("--yes"), "{}", preview.out);
    assert_eq!(house.run(&["export"]).done(), before, "a preview writes nothing");
    house.run(&["import", "book", &back, "--yes"]).done();
    barn.run(&["import", "book", &out, "--yes"]).done();
    assert_eq!(house.run(&["export"]).done(), barn.run(&["export"]).done());
    assert_eq!(seen(&house), seen(&barn));
    let again = house.run(&["import", "book", &back, "--yes"]).done();
    assert!(again.contains("Nothing to write"), "{again}");
}

#[test]
fn the_book_of_another_farm_and_a_damaged_file_are_refused_and_change_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let farm = farm_in(&folder.path().join("farm"));
    let file = path(folder.path(), "ashlode.jsonl");
    farm.run(&["export", "book", "--to", &file]).done();
    let other = Device::of_a_farm(&folder.path().join("other"), "Birchover");
    other.lot("Moss Anthem", 3);
    let before = other.run(&["export"]).done();
    let refused = other.run(&["import", "book", &file, "--yes"]).ends_with(3);
    assert!(refused.contains("Ashlode") && refused.contains("Birchover"), "{refused}");
    assert_eq!(other.run(&["export"]).done(), before);

    let whole = std::fs::read_to_string(&file).unwrap();
    let new = Device::in_folder(&folder.path().join("new"));
    let changed = whole.replacen("\"count\":40", "\"count\":44", 1);
    assert_ne!(changed, whole);
    for (name, text, word) in [
        ("cut.jsonl", &whole[..whole.len() / 2], "cut short"),
        ("changed.jsonl", &changed, "changed"),
        ("entries.jsonl", &before, "first line"),
    ] {
        let file = new.file(name, text);
        let refused = new.run(&["import", "book", &file]).ends_with(3);
        assert!(refused.contains(word) && refused.contains("Nothing was written"), "{refused}");
        assert!(!new.book().exists(), "no empty book is left behind");
    }
}

#[test]
fn no_secret_goes_out_and_the_new_machine_signs_in_and_goes_on() {
    let network = Network::embedded();
    let old = network.farm("Ashlode");
    let lot = old.lot("Ember Lantern", 40);
    old.sync();
    old.lose(&lot, 2);
    let folder = network.folder().join("out");
    let to = folder.to_str().unwrap();
    old.run(&["export", "all", "--to", to]).done();
    let token = old.device_token().0;
    let keys = std::fs::read_to_string(old.book().with_file_name("book.sqlite.keys")).unwrap();
    let keys: BTreeMap<String, Value> = serde_json::from_str(&keys).unwrap();
    let secrets: Vec<&str> = keys.values().filter_map(Value::as_str).collect();
    assert!(secrets.contains(&token.as_str()) && secrets.len() > 2);
    let lines = std::fs::read(folder.join("stock-book.jsonl")).unwrap();
    for secret in secrets.iter().filter(|secret| **secret != old.id()) {
        assert!(!String::from_utf8_lossy(&lines).contains(secret));
    }

    let new = Device::in_folder(&network.folder().join("new"));
    let file = path(&folder, "stock-book.jsonl");
    new.run(&["import", "book", &file, "--device", "new laptop"]).done();
    new.run(&["sync"]).ends_with(4);
    new.run(&["farm", "connect"]).done();
    new.lose(&lot, 1);
    new.sync();
    old.sync();
    assert_eq!(new.run(&["export"]).done(), old.run(&["export"]).done());
    assert_eq!((new.in_store(&lot), old.in_store(&lot)), (37, 37));
}

/// Python's json and hashlib write a book (`tests/other_hand.py`), ours reads it and writes the same
/// bytes: the lines, the canonical form and the hashes are what the papers say, not what one program
/// happens to do. More entries by `SPARELOOP_BOOK_ENTRIES=200000`.
#[test]
fn a_book_that_another_program_wrote_comes_in_and_goes_out_byte_for_byte() {
    let folder = tempfile::tempdir().unwrap();
    let file = path(folder.path(), "theirs.jsonl");
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("other_hand.py");
    let entries = std::env::var("SPARELOOP_BOOK_ENTRIES").unwrap_or_else(|_| "1200".to_owned());
    let written = Command::new("python3").arg(script).args([&file, &entries]).output().unwrap();
    assert!(written.status.success(), "{}", String::from_utf8_lossy(&written.stderr));
    let farm = Device::in_folder(&folder.path().join("farm"));
    let said = farm.run(&["import", "book", &file, "--same-device"]).done();
    assert!(said.contains(&format!("all {entries} entries")), "{said}");
    let ours = path(folder.path(), "ours.jsonl");
    farm.run(&["export", "book", "--to", &ours]).done();
    let lines = |path: &str| -> Vec<String> {
        let text = std::fs::read_to_string(path).unwrap();
        text.lines().filter(|line| line.contains("\"hash\"")).map(ToOwned::to_owned).collect()
    };
    assert!(lines(&ours) == lines(&file), "entries differ");
}

#[test]
fn a_file_that_is_there_a_missing_folder_and_no_room_are_said_and_leave_nothing_half_done() {
    let folder = tempfile::tempdir().unwrap();
    let farm = farm_in(folder.path());
    let there = farm.file("there.csv", "mine\n");
    for what in ["stock", "book"] {
        let refused = farm.run(&["export", what, "--to", &there]).ends_with(3);
        assert!(refused.contains("there already") && refused.contains("--replace"), "{refused}");
        assert_eq!(std::fs::read_to_string(&there).unwrap(), "mine\n");
    }
    farm.run(&["export", "stock", "--to", &there, "--replace"]).done();
    assert!(std::fs::read_to_string(&there).unwrap().starts_with("lot label,"));
    let nowhere = path(folder.path(), "no/such/folder.csv");
    assert!(farm.run(&["export", "stock", "--to", &nowhere]).ends_with(3).contains("no folder"));
    // Nobody may make files there, root included.
    let refused = farm.run(&["export", "stock", "--to", "/proc/stock.csv"]).ends_with(1);
    assert!(refused.contains("can't be written"), "{refused}");

    // What is noted before it leaves is written to the book first, so the book needs its room.
    let rows: Vec<String> = (0..400).map(|row| format!("Moss Anthem,5,L{row}")).collect();
    let sheet = format!("variety,count,lot\n{}\n", rows.join("\n"));
    farm.run(&["import", "stock", &farm.file("more.csv", sheet), "--yes"]).done();
    let out = path(folder.path(), "full.jsonl");
    let words = ["export", "book", "--to", &out, "--no-input"];
    let said = Said::of(&mut with_little_room(&farm.command(&words), &[], 100));
    let said = said.ends_with(1);
    assert!(said.contains("no room left") && said.contains("Make room"), "{said}");
    assert!(!Path::new(&out).exists() && !Path::new(&format!("{out}.partial")).exists());
    farm.run(&["export", "book", "--to", &out]).done();
}

#[test]
fn a_book_goes_through_a_pipe_and_a_reader_that_stops_is_no_error() {
    let folder = tempfile::tempdir().unwrap();
    let farm = farm_in(&folder.path().join("farm"));
    let lines = farm.run(&["export", "book", "--to", "-"]).done();
    let new = Device::in_folder(&folder.path().join("new"));
    let mut import = new
        .command(&["import", "book", "-", "--device", "new", "--no-input"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    import.stdin.take().unwrap().write_all(lines.as_bytes()).unwrap();
    assert!(import.wait_with_output().unwrap().status.success());
    assert_eq!(new.run(&["export"]).done(), farm.run(&["export"]).done());

    let mut export = farm.command(&["export", "book"]).stdout(Stdio::piped()).spawn().unwrap();
    drop(export.stdout.take());
    assert!(export.wait().unwrap().success());
}
