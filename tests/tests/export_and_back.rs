//! Everything out, and back in equal: the whole book, and tables that spreadsheet programs and our
//! own import read. The real binary at the keyboard.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::BTreeMap;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use calamine::{Data, DataType, Reader, Xlsx, open_workbook};
use serde_json::Value;
use spareloop_tests::binaries::with_little_room;
use spareloop_tests::farm::{Device, Said};
use spareloop_tests::network::Network;

const STOCK: &str = "\
lot,variety,unit,count,stored on,packing,place,origin
A1,Ember Lantern,division,40,2025-11-02,film-wrap,cellar / shelf 2 / tote 7,own lifting
A2,Moss Anthem,division,12,2025-11-05,vermiculite,\"cellar / shelf 1, left\",\"the \"\"low\"\" bed\"
A3,Ember Lantern,clump,5,2025-11-05,none,barn,own lifting
";

const CHECKS: &str = "\
lot,date,look,inspected,sound,doubtful,rot,dried out,sprouted
A1,2025-11-20,through the wrap,40,39,0,1,0,
A1,2026-01-10,unpacked,39,36,1,2,0,3
A2,2026-01-10,unpacked,5,4,0,0,1,
";

/// A farm with stock and checks by label, a plan, a loss and a slip that was struck out.
fn farm_in(folder: &Path) -> Device {
    let farm = Device::of_a_farm(folder, "Ashlode");
    for (kind, sheet) in [("stock", STOCK), ("checks", CHECKS)] {
        let file = farm.file(&format!("{kind}-in.csv"), sheet);
        farm.run(&["import", kind, &file, "--yes"]).done();
    }
    farm.run(&["plan", "set", "Ember Lantern", "--plants", "20", "--keep-back", "4"]).done();
    farm.lose("A1", 2);
    let slip = farm.run(&["lot", "lose", "A2", "--count", "1", "--cause", "rot", "--json"]).json();
    farm.run(&["variety", "add", "Tin Orchard"]).done();
    let slip = slip["noted"][0]["entry"].as_str().unwrap().to_owned();
    farm.run(&["undo", &slip, "--why", "wrong tote"]).done();
    farm
}

/// What a farm sees, but for the device it is seen on.
fn seen(device: &Device) -> [Value; 4] {
    [&["forecast", "--lots"][..], &["lot", "list"], &["plan", "list"], &["variety", "list"]]
        .map(|words| device.run(&[words, &["--json"]].concat()).json())
}

fn path(folder: &Path, name: &str) -> String {
    folder.join(name).to_str().unwrap().to_owned()
}

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

const TABLES: [&str; 9] =
    ["stock", "forecast", "checks", "lots", "lifted", "varieties", "plan", "problems", "log"];

/// The rows of a table as our JSON has them.
fn rows(farm: &Device, table: &str) -> Vec<Value> {
    let said = farm.run(&["export", table, "--format", "json"]).json();
    said["rows"].as_array().unwrap().clone()
}

/// The words that another reader should see in a cell.
fn spelled(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}

/// The reference is the csv module of Python (its documentation: "Dialect.excel").
#[test]
fn another_reader_of_csv_sees_what_was_written() {
    let folder = tempfile::tempdir().unwrap();
    let farm = farm_in(folder.path());
    let script = "import csv, json, sys\n\
                  with open(sys.argv[1], newline='', encoding='utf-8-sig') as file:\n\
                  \x20   print(json.dumps(list(csv.DictReader(file, delimiter=sys.argv[2]))))";
    for (table, flags) in
        TABLES.iter().flat_map(|table| [(table, &[][..]), (table, &["--semicolon", "--mark"])])
    {
        let file = path(folder.path(), "table.csv");
        let words = [&["export", table, "--to", &file, "--replace"][..], flags].concat();
        farm.run(&words).done();
        let delimiter = if flags.is_empty() { "," } else { ";" };
        let read = Command::new("python3").args(["-c", script, &file, delimiter]).output().unwrap();
        assert!(read.status.success(), "{}", String::from_utf8_lossy(&read.stderr));
        let read: Vec<Value> = serde_json::from_slice(&read.stdout).unwrap();
        let written = rows(&farm, table);
        assert_eq!(read.len(), written.len(), "{table}");
        for (read, written) in read.iter().zip(&written) {
            for (heading, value) in written.as_object().unwrap() {
                let spelled = match value {
                    Value::Number(number) if number.is_f64() && delimiter == ";" => {
                        number.to_string().replace('.', ",")
                    }
                    other => spelled(other),
                };
                assert_eq!(read[heading].as_str(), Some(spelled.as_str()), "{table}: {heading}");
            }
        }
    }
}

/// The reference is calamine (from crates.io), another hand than the one that writes workbooks.
#[test]
fn another_reader_of_workbooks_sees_numbers_as_numbers_and_days_as_days() {
    let folder = tempfile::tempdir().unwrap();
    let farm = farm_in(folder.path());
    let to = path(folder.path(), "out");
    farm.run(&["export", "all", "--to", &to]).done();
    let mut book: Xlsx<_> = open_workbook(Path::new(&to).join("stock-book.xlsx")).unwrap();
    assert_eq!(book.sheet_names(), TABLES);
    let (mut days, mut numbers) = (0, 0);
    for table in TABLES {
        let sheet = book.worksheet_range(table).unwrap();
        let headings: Vec<String> =
            sheet.rows().next().unwrap().iter().map(ToString::to_string).collect();
        let written = rows(&farm, table);
        assert_eq!(sheet.height(), written.len() + 1, "{table}");
        for (read, written) in sheet.rows().skip(1).zip(&written) {
            for (heading, cell) in headings.iter().zip(read) {
                let value = &written[heading];
                match (cell, value) {
                    (Data::Empty, Value::Null) => {}
                    (Data::Float(read), Value::Number(number)) => {
                        numbers += 1;
                        assert_eq!(number.as_f64(), Some(*read), "{table}: {heading}");
                    }
                    (Data::DateTime(_), Value::String(text)) => {
                        days += 1;
                        let read = cell.as_datetime().unwrap();
                        let read = if text.len() == 10 {
                            read.format("%Y-%m-%d").to_string()
                        } else {
                            read.format("%Y-%m-%dT%H:%M:%SZ").to_string()
                        };
                        assert_eq!(read, *text, "{table}: {heading}");
                    }
                    (Data::String(read), Value::String(text)) => {
                        assert!(!is_day(text), "{table}: {heading} {text} is no day");
                        assert_eq!(read, text, "{table}: {heading}");
                    }
                    other => panic!("{table}: {heading}: {other:?}"),
                }
            }
        }
    }
    assert!(days > 20 && numbers > 50, "{days} days, {numbers} numbers");
}

fn is_day(text: &str) -> bool {
    text.len() == 10 && text.split('-').all(|part| part.parse::<u32>().is_ok())
}

#[test]
fn text_that_a_program_would_run_is_harmless_in_csv_and_plain_text_in_a_workbook() {
    let folder = tempfile::tempdir().unwrap();
    let farm = Device::of_a_farm(folder.path(), "Ashlode");
    let lot = farm.lot("Ember Lantern", 40);
    let place = "=HYPERLINK(\"x\") / shelf";
    farm.run(&["lot", "move", &lot, "--to", place]).done();
    let csv = farm.run(&["export", "stock"]).done();
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let record = reader.records().next().unwrap().unwrap();
    assert!(record.iter().any(|cell| cell == format!("'{place}")), "{csv}");
    assert!(record.iter().all(|cell| !cell.starts_with(['=', '+', '-', '@'])), "{csv}");
    let file = path(folder.path(), "stock.xlsx");
    farm.run(&["export", "stock", "--to", &file]).done();
    let mut book: Xlsx<_> = open_workbook(&file).unwrap();
    let sheet = book.worksheet_range("stock").unwrap();
    assert!(sheet.used_cells().any(|(_, _, cell)| *cell == Data::String(place.to_owned())));
    assert_eq!(book.worksheet_formula("stock").unwrap().used_cells().count(), 0);
}

#[test]
fn checks_that_went_out_add_nothing_at_home_and_the_same_losses_in_a_fresh_book() {
    let folder = tempfile::tempdir().unwrap();
    let farm = Device::of_a_farm(&folder.path().join("farm"), "Ashlode");
    let fresh = Device::of_a_farm(&folder.path().join("fresh"), "Elsewhere");
    for device in [&farm, &fresh] {
        let file = device.file("stock.csv", STOCK);
        device.run(&["import", "stock", &file, "--yes"]).done();
    }
    farm.run(&["import", "checks", &farm.file("in.csv", CHECKS), "--yes"]).done();
    let by_hand = ["check", "add", "A2", "--inspected", "11", "--sound", "9", "--rot", "2"];
    farm.run(&by_hand).done();
    let checks = path(folder.path(), "checks.csv");
    farm.run(&["export", "checks", "--to", &checks]).done();
    let at_home = farm.run(&["import", "checks", &checks, "--yes"]).done();
    assert!(at_home.contains("0 new") && at_home.contains("Nothing to write"), "{at_home}");
    fresh.run(&["import", "checks", &checks, "--yes"]).done();
    let forecast = |device: &Device| {
        let said = device.run(&["forecast", "--json"]).json();
        let kinds = said["kinds"].as_array().unwrap().clone();
        let figures = ["variety", "in_store", "expected", "low", "high"];
        kinds.iter().map(|kind| figures.map(|name| kind[name].clone())).collect::<Vec<_>>()
    };
    assert_eq!(forecast(&fresh), forecast(&farm));
    let sprouted = |device: &Device| -> Vec<Value> {
        rows(device, "checks").iter().map(|row| row["sprouted"].clone()).collect()
    };
    assert_eq!(sprouted(&fresh), sprouted(&farm));
}

#[test]
fn a_plan_that_went_out_adds_nothing_when_it_comes_in() {
    let folder = tempfile::tempdir().unwrap();
    let farm = farm_in(folder.path());
    let file = path(folder.path(), "plan.csv");
    farm.run(&["export", "plan", "--to", &file]).done();
    let again = farm.run(&["import", "plan", &file, "--yes"]).done();
    assert!(again.contains("1 skipped") && again.contains("Nothing to write"), "{again}");
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

#[test]
fn the_log_is_filtered_paged_and_says_what_was_struck_out_by_whom_and_why() {
    let folder = tempfile::tempdir().unwrap();
    let farm = farm_in(folder.path());
    let log = |words: &[&str]| farm.run(&[&["log"][..], words].concat()).done();
    let lines = |text: &str| text.lines().count();
    let all = log(&["--all"]);
    assert!(all.contains("(struck out on 2026-03-20 by laptop: wrong tote)"), "{all}");
    let by_variety = log(&["--variety", "Moss Anthem", "--all"]);
    assert!(by_variety.contains("Moss Anthem") && !by_variety.contains("Ember"), "{by_variety}");
    assert_eq!(lines(&log(&["--kind", "check"])), 3);
    assert_eq!(log(&["--device", "laptop", "--all"]), all);
    let refused = farm.run(&["log", "--device", "phone"]).ends_with(3);
    assert!(refused.contains("laptop"), "{refused}");
    assert!(farm.run(&["log", "--kind", "chek"]).ends_with(3).contains("Did you mean 'check'"));

    let last = log(&["--limit", "2"]);
    assert_eq!(lines(&last), 3, "two, and how many stand before them");
    let code = last.lines().nth(1).unwrap().split_whitespace().nth(1).unwrap().to_owned();
    let before = log(&["--limit", "2", "--before", &code]);
    assert_ne!(before.lines().last(), last.lines().nth(1));
    let paged =
        [before.lines().skip(1).collect::<Vec<_>>(), last.lines().skip(1).collect()].concat();
    assert_eq!(paged, all.lines().skip(lines(&all) - 4).collect::<Vec<_>>());

    let whole = farm.run(&["log", "--json"]).json();
    let entries = whole["entries"].as_array().unwrap();
    assert_eq!(entries.len(), lines(&all));
    assert!(entries.iter().all(|entry| entry["body"]["v"] == 1));
    let struck: Vec<&Value> = entries.iter().filter(|it| it["struck_out"] == true).collect();
    assert_eq!(struck.len(), 1);
    assert_eq!(struck[0]["strike_out"]["why"], "wrong tote");
}
