//! Tables for spreadsheet programs, and in again.

use std::path::Path;
use std::process::Command;

use calamine::{Data, DataType, Reader, Xlsx, open_workbook};
use serde_json::Value;
use spareloop_tests::farm::Device;

use super::{CHECKS, STOCK, farm_in, path};

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
fn stock_that_went_out_adds_nothing_at_home_whatever_was_lost_and_moved_since() {
    let folder = tempfile::tempdir().unwrap();
    let farm = farm_in(&folder.path().join("farm"));
    farm.run(&["lot", "move", "A1", "--to", "barn / crate 3"]).done();
    let made = ["lot", "divide", "A3", "--clumps", "2", "--sound", "9"];
    farm.run(&made).done();
    // A note may go over lines and hold what separates cells.
    let origin = "the low bed\nrow 4, north";
    farm.run(&["lot", "opening", "Moss Anthem", "--count", "4", "--origin", origin]).done();
    let before = farm.run(&["export"]).done();
    let adds_nothing = |file: &str| {
        let said = farm.run(&["import", "stock", file, "--yes"]).done();
        assert!(said.contains("0 new, 0 changed") && said.contains("Nothing to write"), "{said}");
        assert_eq!(farm.run(&["export"]).done(), before);
    };
    for name in ["stock.csv", "stock.xlsx"] {
        let file = path(folder.path(), name);
        farm.run(&["export", "stock", "--to", &file]).done();
        adds_nothing(&file);
    }
    adds_nothing(&farm.file("autumn.csv", STOCK));

    // A count that neither the book nor the sheet said before is explained, not taken.
    let sheet = std::fs::read_to_string(path(folder.path(), "stock.csv")).unwrap();
    let in_store = farm.in_store("A1");
    let line = sheet.lines().find(|line| line.starts_with("A1,")).unwrap();
    let counted = line.replace(&format!("division,{in_store},"), "division,7,");
    assert_ne!(counted, line);
    let file = farm.file("counted.csv", sheet.replace(line, &counted));
    let refused = farm.run(&["import", "stock", &file, "--yes"]);
    assert_eq!(refused.exit, 3);
    assert!(
        refused.out.contains("row says 7") && refused.out.contains("lot recount"),
        "{}",
        refused.out
    );
    assert_eq!(farm.run(&["export"]).done(), before);
}

#[test]
fn stock_that_went_out_is_the_same_stock_in_a_fresh_book() {
    let folder = tempfile::tempdir().unwrap();
    let farm = farm_in(&folder.path().join("farm"));
    let fresh = Device::of_a_farm(&folder.path().join("fresh"), "Elsewhere");
    let file = path(folder.path(), "stock.csv");
    farm.run(&["export", "stock", "--to", &file]).done();
    fresh.run(&["import", "stock", &file, "--yes"]).done();
    let lots = |device: &Device| -> Vec<Vec<Value>> {
        let told = ["lot label", "variety", "unit", "count", "place", "packing", "stored on"];
        rows(device, "stock").iter().map(|row| told.map(|it| row[it].clone()).to_vec()).collect()
    };
    assert_eq!(lots(&fresh), lots(&farm));
    let again = fresh.run(&["import", "stock", &file, "--yes"]).done();
    assert!(again.contains("Nothing to write"), "{again}");
}

#[test]
fn with_json_standard_output_holds_one_object_or_the_export_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let farm = farm_in(folder.path());
    assert_eq!(farm.run(&["export", "stock", "--json"]).json()["spareloop"], 1);
    for words in [&["book"][..], &["stock", "--format", "csv"], &["stock", "--format", "xlsx"]] {
        let said = farm.run(&[&["export"][..], words, &["--json"]].concat());
        assert_eq!((said.exit, said.out.as_str()), (2, ""), "{words:?}");
    }
    let file = path(folder.path(), "book.jsonl");
    let said = farm.run(&["export", "book", "--to", &file, "--json"]).json();
    assert_eq!(said["file"], file.as_str());
}
