//! Spreadsheets as people keep them, through the real program: the wide sheet with a column a
//! look, workbooks of other programs, the same sheet twice in other clothes.
//!
//! `tests/sheets/README.md` says how `winter.xlsx` was made.

use std::path::Path;

use spareloop_tests::farm::{Device, Said};
use tempfile::TempDir;

struct Farm {
    device: Device,
    _folder: TempDir,
}

fn farm() -> Farm {
    let folder = tempfile::tempdir().unwrap();
    Farm { device: Device::of_a_farm(folder.path(), "Ashlode"), _folder: folder }
}

/// The winter of the sheets below, as text.
const WINTER: &str = "\
Label;Variety;Shelf;Start count;2025-11-12;2025-12-10;Jan 14;Cause
T1;Ember Lantern;shelf 1;40;38;37;37;rot
T2;Moss Anthem;shelf 1;12;;ok;-2 dried out;
T3;Cinder Veil;shelf 2;25;24/25;24 sound;x;frozen
T4;Quorra Lantern;shelf 2;8;8;8;8;
";

impl Farm {
    fn import(&self, kind: &str, file: &str, more: &[&str]) -> Said {
        self.device.run(&[&["import", kind, file, "--season", "2025", "--yes"], more].concat())
    }

    #[track_caller]
    fn imported(&self, kind: &str, file: &str) -> String {
        self.import(kind, file, &[]).done()
    }

    #[track_caller]
    fn winter(&self, text: &str) -> String {
        let file = self.device.file("winter.csv", text);
        self.imported("stock", &file);
        self.imported("checks", &file)
    }

    #[track_caller]
    fn holds(&self, counts: &[(&str, u64)]) {
        for (label, count) in counts {
            assert_eq!(self.device.in_store(label), *count, "{label}");
        }
    }
}

fn of_another_hand() -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("sheets/winter.xlsx");
    path.to_str().unwrap().to_owned()
}

const AT_THE_END: &[(&str, u64)] = &[("T1", 37), ("T2", 10), ("T3", 0), ("T4", 8)];

#[test]
fn a_winter_kept_in_another_program_becomes_lots_and_looks_and_once_only() {
    let farm = farm();
    let file = of_another_hand();
    let stock = farm.imported("stock", &file);
    assert!(stock.contains("4 new") && stock.contains("Read from the sheet 'Winter 2025'"));
    assert!(stock.contains("Row 9 is a row of totals: not read."), "{stock}");
    let looks = farm.imported("checks", &file);
    assert!(looks.contains("11 new, 0 changed, 0 skipped"), "{looks}");
    assert!(looks.contains("3 columns of looks (2025-11-12 to 2026-01-14)"), "{looks}");
    farm.holds(AT_THE_END);
    let shown = farm.device.run(&["lot", "show", "T3"]).done();
    assert!(shown.contains("labelled T3") && shown.contains("2025-11-12"), "{shown}");
    for kind in ["stock", "checks"] {
        let again = farm.imported(kind, &file);
        assert!(again.contains("0 new, 0 changed") && again.contains("0 wrong"), "{again}");
    }
}

#[test]
fn the_same_sheet_as_text_and_as_a_workbook_adds_nothing_the_second_time() {
    let farm = farm();
    let first = farm.winter(WINTER);
    assert!(first.contains("11 new"), "{first}");
    farm.holds(AT_THE_END);
    let before = farm.device.entries();
    for kind in ["stock", "checks"] {
        let again = farm.imported(kind, &of_another_hand());
        assert!(again.contains("0 new, 0 changed") && again.contains("0 wrong"), "{again}");
    }
    assert_eq!(farm.device.entries(), before);
}

#[test]
fn looks_noted_in_the_long_form_are_known_again_in_the_wide_one() {
    let farm = farm();
    let wide = farm.device.file("winter.csv", WINTER);
    farm.imported("stock", &wide);
    let long = "lot;date;inspected;sound;rot\nT1;12.11.2025;40;38;2\nT1;10.12.2025;38;37;1\n";
    let long = farm.device.file("long.csv", long);
    farm.imported("checks", &long);
    let said = farm.imported("checks", &wide);
    assert!(said.contains("9 new, 0 changed, 2 skipped"), "{said}");
    let back = farm.imported("checks", &long);
    assert!(back.contains("0 new, 0 changed, 2 skipped"), "{back}");
    farm.holds(AT_THE_END);
}

#[test]
fn a_new_column_next_month_adds_only_its_looks() {
    let farm = farm();
    farm.winter(WINTER);
    let more = WINTER.replace("Jan 14;", "Jan 14;Feb 11;").replace("37;rot", "36;rot");
    let more = more.replace("37;36;rot", "37;37;36;rot").replace("2 dried out;", "2 dried out;10;");
    let more = more.replace("x;frozen", "x;;frozen").replace("8;8;8;", "8;8;8;ok;");
    let said = farm.winter(&more);
    assert!(said.contains("3 new, 0 changed, 11 skipped"), "{said}");
    farm.holds(&[("T1", 36), ("T2", 10), ("T3", 0), ("T4", 8)]);
}

#[test]
fn a_cell_corrected_later_moves_the_losses_of_the_looks_after_it() {
    let farm = farm();
    farm.winter(WINTER);
    let said = farm.winter(&WINTER.replace(";38;37;37;", ";39;37;37;"));
    assert!(said.contains("0 new, 2 changed, 9 skipped"), "{said}");
    farm.holds(AT_THE_END);
    let shown = farm.device.run(&["status"]).done();
    assert!(!shown.contains("disagree"), "{shown}");
}

#[test]
fn a_blank_filled_in_later_moves_the_losses_of_the_looks_after_it() {
    let farm = farm();
    let blank = WINTER.replace(";38;37;37;", ";;37;37;");
    let file = farm.device.file("winter.csv", blank);
    farm.import("stock", &file, &["--on", "2025-11-02"]).done();
    farm.imported("checks", &file);
    let file = farm.device.file("winter.csv", WINTER);
    let said = farm.imported("checks", &file);
    assert!(said.contains("1 new, 1 changed"), "{said}");
    farm.holds(AT_THE_END);
}

#[test]
fn more_than_were_there_is_wrong_and_asks_for_a_recount() {
    let farm = farm();
    let file = farm.device.file("winter.csv", WINTER.replace("37;37;rot", "37;39;rot"));
    farm.imported("stock", &file);
    let said = farm.import("checks", &file, &[]);
    assert_eq!(said.exit, 3, "{}", said.out);
    assert!(said.out.contains("row 2: wrong: Jan 14: 39 in lot"), "{}", said.out);
    assert!(said.out.contains("spareloop lot recount"), "{}", said.out);
    farm.holds(&[("T1", 40)]);
    let rest = farm.import("checks", &file, &["--leave-out-wrong"]).done();
    assert!(rest.contains("10 new") && rest.contains("1 wrong"), "{rest}");
    farm.holds(&[("T1", 37)]);
}

#[test]
fn what_a_sheet_does_not_say_is_asked_for_by_the_flag_that_says_it() {
    let farm = farm();
    let no_cause = farm.device.file("a.csv", "label;variety;count;2025-11-12\nA;Ember;9;7\n");
    farm.imported("stock", &no_cause);
    let asked = farm.device.run(&["import", "checks", &no_cause, "--yes"]);
    assert!(asked.ends_with(5).contains("--lost-to"));
    let no_year = farm.device.file("b.csv", "label;variety;count;12.11.\nA;Ember;9;7\n");
    let asked = farm.device.run(&["import", "checks", &no_year, "--yes"]);
    assert!(asked.ends_with(5).contains("--season 2025"));
    let either = farm.device.file("c.csv", "label;variety;count;3/11/2025\nA;Ember;9;7\n");
    let asked = farm.import("checks", &either, &["--lost-to", "rot"]);
    assert!(asked.ends_with(5).contains("--date-order"));
    let told = farm.import("checks", &either, &["--lost-to", "rot", "--date-order", "day-first"]);
    assert_eq!(told.exit, 3, "the lot began on 12 November: {}", told.out);
    let told = farm.import("checks", &no_year, &["--lost-to", "rot"]).done();
    assert!(told.contains("1 new"), "{told}");
    farm.holds(&[("A", 7)]);
}

#[test]
fn rows_without_labels_are_found_as_the_stock_sheet_made_them() {
    let farm = farm();
    let text = "Sort;Place;Start;12.11.2025\nEmber Lantern;shelf 1;5;4\nEmber Lantern;shelf 2;7;7\nCafé au soir;shelf 2;3;3\n";
    let file = farm.device.file("winter.csv", windows_1252(text));
    farm.imported("stock", &file);
    let said = farm.import("checks", &file, &["--lost-to", "gnawed"]).done();
    assert!(said.contains("3 new"), "{said}");
    let counts = farm.device.run(&["lot", "list", "--json"]).json();
    let counts: Vec<u64> = counts["lots"]
        .as_array()
        .unwrap()
        .iter()
        .map(|lot| lot["in_store"].as_u64().unwrap())
        .collect();
    assert_eq!(counts.iter().sum::<u64>(), 14);
}

/// The text in Windows-1252, in which an e with an acute accent is one byte (0xE9).
fn windows_1252(text: &str) -> Vec<u8> {
    text.chars().map(|letter| u8::try_from(u32::from(letter)).unwrap()).collect()
}

#[test]
fn a_look_keyed_after_stock_went_away_is_held_against_what_was_there_then() {
    let farm = farm();
    let stock = "label;variety;count;stored on\nA;Ember Lantern;40;2025-11-02\n";
    let stock = farm.device.file("stock.csv", stock);
    farm.imported("stock", &stock);
    let words = ["lot", "send", "A", "--count", "5", "--to", "a neighbour", "--purpose", "gift"];
    farm.device.run(&[&words[..], &["--on", "2025-12-01"]].concat()).done();
    let wide = "label;2025-11-12;2025-12-10\nA;38;33\n";
    let wide = farm.device.file("wide.csv", wide);
    let said = farm.import("checks", &wide, &["--lost-to", "rot"]).done();
    assert!(said.contains("2 new"), "{said}");
    farm.holds(&[("A", 33)]);
}

#[test]
fn a_divided_lot_without_a_label_is_known_again_when_its_count_was_changed() {
    let farm = farm();
    let lifted = farm.device.file("lifted.csv", "lot;variety;clumps;date\nC1;Ember;9;2025-10-20\n");
    farm.imported("lifted", &lifted);
    let sheet = |sound: u8| {
        let text = format!("from lot;clumps;date;sound\nC1;3;2025-10-25;{sound}\n");
        farm.device.file("bench.csv", text)
    };
    farm.imported("bench", &sheet(12));
    let said = farm.import("bench", &sheet(14), &[]);
    assert_eq!(said.exit, 3, "{}", said.out);
    assert!(said.out.contains("the count was 12 when it was imported"), "{}", said.out);
    let shown = farm.device.run(&["lot", "show", "C1"]).done();
    assert!(shown.contains("labelled C1") && shown.contains("6 clumps"), "{shown}");
}
