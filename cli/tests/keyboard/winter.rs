//! A winter at the keyboard, without any server.

use crate::common::{Keyboard, code, filtered};
use insta::assert_snapshot;

const STOCK: &str = "\
lot,variety,unit,count,stored on,packing,place,origin
A1,Ember Lantern,division,40,2025-11-02,film-wrap,cellar / shelf 2 / tote 7,own lifting
A2,Moss Anthem,division,12,2025-11-05,vermiculite,cellar / shelf 1 / tote 3,own lifting
A3,Ember Lantern,clump,5,2025-11-05,none,barn,own lifting
";

const CHECKS: &str = "\
lot,date,look,inspected,sound,doubtful,rot,dried out
A1,2025-11-20,through the wrap,40,39,0,1,0
A1,2026-01-10,unpacked,39,36,1,2,0
A2,2026-01-10,unpacked,5,5,0,0,0
";

fn imported() -> Keyboard {
    let farm = Keyboard::of_a_farm();
    let stock = farm.file("stock.csv", STOCK);
    let checks = farm.file("checks.csv", CHECKS);
    farm.run(&["import", "stock", &stock, "--yes"]).done();
    farm.run(&["import", "checks", &checks, "--yes"]).done();
    farm
}

#[test]
fn a_farm_is_set_up_without_a_server_and_every_question_has_a_flag() {
    let farm = Keyboard::new();
    let asked = farm.run(&["farm", "init"]);
    let words =
        ["farm", "init", "--name", "Test Holm", "--device", "lap", "--planting", "2026-05-10"];
    let begun = farm.run(&words);
    let again = farm.run(&words);
    let shown = farm.run(&["farm", "show"]);
    filtered(|| {
        assert_snapshot!("init_asks", asked.all());
        assert_snapshot!("init", begun.all());
        assert_snapshot!("init_twice", again.all());
        assert_snapshot!("farm_show", shown.all());
    });
}

#[test]
fn an_import_is_previewed_then_written_and_a_second_one_adds_nothing() {
    let farm = Keyboard::of_a_farm();
    let stock = farm.file("stock.csv", STOCK);
    let previewed = farm.run(&["import", "stock", &stock]);
    assert_eq!(farm.run(&["export"]).done(), "", "a preview writes nothing");
    let written = farm.run(&["import", "stock", &stock, "--yes"]);
    let entries = farm.run(&["export"]).done();
    let again = farm.run(&["import", "stock", &stock, "--yes"]);
    assert_eq!(farm.run(&["export"]).done(), entries);
    let listed = farm.run(&["lot", "list"]);
    filtered(|| {
        assert_snapshot!("import_preview", previewed.all());
        assert_snapshot!("import_written", written.all());
        assert_snapshot!("import_again", again.all());
        assert_snapshot!("lot_list", listed.all());
    });
}

#[test]
fn a_lot_answers_to_the_label_that_a_sheet_gave_it() {
    let farm = imported();
    let shown = farm.run(&["lot", "show", " a1 ", "--json"]).json();
    farm.run(&["check", "add", "A1", "--sound", "37"]).done();
    let code = shown["lot"]["code"].as_str().unwrap();
    let by_code = farm.run(&["log", "--lot", code]).done();
    assert_eq!(farm.run(&["log", "--lot", "A1"]).done(), by_code);
    assert_eq!(farm.run(&["lot", "show", "A9"]).exit, 3, "no sheet gave that label");
}

#[test]
fn a_file_imported_on_two_devices_makes_the_same_lots() {
    let codes = |farm: &Keyboard| -> Vec<String> {
        let lots = farm.run(&["lot", "list", "--json"]).json();
        let lots = lots["lots"].as_array().unwrap().clone();
        lots.iter().map(|lot| lot["code"].as_str().unwrap().to_owned()).collect()
    };
    let farm = imported();
    let copy = farm.folder().join("copy.sqlite");
    farm.run(&["backup", "make", copy.to_str().unwrap()]).done();
    let stock = farm.file("stock2.csv", STOCK.replace("A1", "B1"));
    farm.run(&["import", "stock", &stock, "--yes"]).done();
    let here = codes(&farm);
    farm.run(&["backup", "restore", copy.to_str().unwrap(), "--yes"]).done();
    farm.run(&["import", "stock", &stock, "--yes"]).done();
    assert_eq!(codes(&farm), here);
}

#[test]
fn checks_come_in_by_the_lots_label_and_the_forecast_says_where_its_figures_come_from() {
    let farm = imported();
    let checks = farm.folder().join("checks.csv");
    let again = farm.run(&["import", "checks", checks.to_str().unwrap(), "--yes"]);
    farm.run(&["plan", "set", "Ember Lantern", "--plants", "20"]).done();
    let status = farm.run(&["status"]);
    let forecast = farm.run(&["forecast"]);
    let lots = farm.run(&["forecast", "ember lantern"]);
    let log = farm.run(&["log"]);
    filtered(|| {
        assert_snapshot!("checks_again", again.all());
        assert_snapshot!("status", status.all());
        assert_snapshot!("forecast", forecast.all());
        assert_snapshot!("forecast_lots", lots.all());
        assert_snapshot!("log", log.all());
    });
}

#[test]
fn clumps_are_lifted_divided_packed_and_shown_with_their_history() {
    let farm = Keyboard::of_a_farm();
    farm.run(&["variety", "add", "Ember Lantern"]).done();
    let lifted = farm
        .run(&["lot", "lift", "Ember Lantern", "--clumps", "10", "--on", "2025-10-20", "--json"])
        .json();
    let clumps = code(&lifted, 0);
    let session = [
        "bench",
        "session",
        &clumps,
        "--tools",
        "disinfected",
        "--dip",
        "household bleach",
        "--dip-percent",
        "0.5",
        "--dip-minutes",
        "10",
        "--on",
        "2025-10-25",
    ];
    let session = farm.run(&session);
    let words = [
        "lot",
        "divide",
        &clumps,
        "--clumps",
        "10",
        "--sound",
        "42",
        "--not-yet-eyed",
        "5",
        "--discard",
        "rot=3",
        "--discard",
        "no-eye=2",
        "--pieces",
        "52",
        "--session",
        "last",
        "--on",
        "2025-10-25",
        "--json",
    ];
    let divided = farm.run(&words).json();
    let sound = code(&divided, 0);
    let place = "cellar / shelf 2 / tote 7";
    farm.run(&[
        "lot",
        "store",
        &sound,
        "--packing",
        "film-wrap",
        "--place",
        place,
        "--on",
        "2025-10-26",
    ])
    .done();
    let split = farm.run(&["lot", "split", &sound, "--count", "20", "--to", "cellar / shelf 3"]);
    let shown = farm.run(&["lot", "show", &sound]);
    let left = farm.run(&["lot", "list"]);
    filtered(|| {
        assert_snapshot!("session", session.all());
        assert_snapshot!("split", split.all());
        assert_snapshot!("lot_show", shown.all());
        assert_snapshot!("divided_list", left.all());
    });
}

#[test]
fn pieces_that_do_not_add_up_are_refused_and_nothing_is_noted() {
    let farm = Keyboard::of_a_farm();
    farm.run(&["variety", "add", "Ember Lantern"]).done();
    let lifted = farm.run(&["lot", "lift", "Ember Lantern", "--clumps", "10", "--json"]).json();
    let before = farm.run(&["export"]).done();
    let clumps = code(&lifted, 0);
    let refused =
        farm.run(&["lot", "divide", &clumps, "--clumps", "10", "--sound", "42", "--pieces", "50"]);
    let too_many = farm.run(&["lot", "divide", &clumps, "--clumps", "11", "--sound", "42"]);
    assert_eq!(farm.run(&["export"]).done(), before);
    filtered(|| {
        assert_snapshot!("pieces_differ", refused.all());
        assert_snapshot!("more_clumps_than_there", too_many.all());
    });
}

#[test]
fn a_count_that_differs_from_the_book_asks_what_became_of_the_missing() {
    let farm = Keyboard::of_a_farm();
    let lot = farm.lot("Ember Lantern", 40, "2025-11-02");
    let asked = farm.run(&["check", "add", &lot, "--inspected", "38", "--sound", "38"]);
    let found = farm.run(&["check", "add", &lot, "--inspected", "41", "--sound", "41"]);
    let sample =
        farm.run(&["check", "add", &lot, "--inspected", "38", "--sound", "38", "--sample"]);
    let told = farm.run(&[
        "check",
        "add",
        &lot,
        "--inspected",
        "38",
        "--sound",
        "37",
        "--rot",
        "1",
        "--missing",
        "mislaid",
    ]);
    filtered(|| {
        assert_snapshot!("missing_asked", asked.all());
        assert_snapshot!("found_asked", found.all());
        assert_snapshot!("sample", sample.all());
        assert_snapshot!("missing_told", told.all());
    });
    let shown = farm.run(&["lot", "show", &lot, "--json"]).json();
    assert_eq!(shown["lot"]["in_store"], 37);
}

#[test]
fn a_check_noted_late_is_held_against_what_was_there_that_day() {
    let farm = Keyboard::of_a_farm();
    let lot = farm.lot("Ember Lantern", 40, "2025-11-02");
    farm.run(&["lot", "lose", &lot, "--count", "4", "--cause", "rot", "--on", "2026-02-01"]).done();
    farm.run(&["check", "add", &lot, "--sound", "40", "--on", "2025-12-01"]).done();
    let shown = farm.run(&["lot", "show", &lot, "--json"]).json();
    assert_eq!(shown["lot"]["in_store"], 36);
}

#[test]
fn undo_withdraws_the_last_entry_and_strikes_out_an_earlier_one() {
    let farm = Keyboard::of_a_farm();
    let lot = farm.lot("Ember Lantern", 40, "2025-11-02");
    let before = farm.run(&["export"]).done();
    farm.run(&["lot", "lose", &lot, "--count", "3", "--cause", "rot"]).done();
    let withdrawn = farm.run(&["undo"]);
    assert_eq!(farm.run(&["export"]).done(), before, "as if it had never been noted");
    farm.run(&["lot", "lose", &lot, "--count", "3", "--cause", "rot"]).done();
    farm.run(&["lot", "move", &lot, "--to", "barn"]).done();
    let log = farm.run(&["log", "--json"]).json();
    let entries = log["entries"].as_array().unwrap().clone();
    let loss = entries.iter().find(|entry| entry["kind"] == "loss").unwrap();
    let struck = farm.run(&["undo", loss["code"].as_str().unwrap(), "--why", "wrong lot"]);
    let again = farm.run(&["undo", loss["code"].as_str().unwrap()]);
    let log = farm.run(&["log"]);
    filtered(|| {
        assert_snapshot!("undo_withdraws", withdrawn.all());
        assert_snapshot!("undo_strikes_out", struck.all());
        assert_snapshot!("undo_twice", again.all());
        assert_snapshot!("log_with_struck_out", log.all());
    });
    let shown = farm.run(&["lot", "show", &lot, "--json"]).json();
    assert_eq!(shown["lot"]["in_store"], 40);
}

#[test]
fn a_dry_run_says_what_would_be_noted_and_notes_nothing() {
    let farm = Keyboard::of_a_farm();
    let lot = farm.lot("Ember Lantern", 40, "2025-11-02");
    let before = farm.run(&["export"]).done();
    let said =
        farm.run(&["lot", "lose", &lot, "--count", "3", "--cause", "rot", "--dry-run"]).done();
    assert!(said.starts_with("Would be noted"), "{said}");
    farm.run(&["undo", "--dry-run"]).done();
    assert_eq!(farm.run(&["export"]).done(), before);
}

#[test]
fn a_protected_variety_without_a_permission_goes_to_nobody() {
    let farm = Keyboard::of_a_farm();
    let lot = farm.lot("Ember Lantern", 40, "2025-11-02");
    farm.run(&["variety", "note", "Ember Lantern", "--protected", "--holder", "A. Breeder"]).done();
    let send = ["lot", "send", &lot, "--count", "3", "--to", "a neighbour", "--purpose", "gift"];
    let sent = farm.run(&send);
    let offered = farm.run(&["offer", "make", &lot, "--count", "3"]);
    filtered(|| {
        assert_snapshot!("protected_send", sent.all());
        assert_snapshot!("protected_offer", offered.all());
    });
    farm.run(&["variety", "note", "Ember Lantern", "--protected", "--permission", "P-17"]).done();
    farm.run(&send).done();
}

#[test]
fn every_answer_is_one_versioned_object_on_json() {
    let farm = imported();
    for words in [
        &["status"][..],
        &["farm", "show"],
        &["variety", "list"],
        &["lot", "list"],
        &["plan", "list"],
        &["forecast"],
        &["log"],
        &["sample", "size"],
        &["climate", "vapour", "--celsius", "7.2", "--humidity", "85"],
        &["config", "explain"],
        &["doctor", "--offline"],
        &["export"],
    ] {
        let mut words = words.to_vec();
        words.push("--json");
        let answer = farm.run(&words).json();
        assert_eq!(answer["spareloop"], 1, "{words:?}");
        assert!(answer["kind"].is_string(), "{words:?}");
    }
}

#[test]
fn the_manual_and_completions_are_made_from_what_is_parsed() {
    let farm = Keyboard::new();
    assert!(farm.run(&["man"]).done().contains(".TH"));
    assert!(farm.run(&["completions", "bash"]).done().contains("spareloop"));
    let help = farm.run(&["--help"]).done();
    assert!(help.starts_with("Begin:"), "examples first: {help}");
}

#[test]
fn striking_out_a_divide_whose_lot_was_looked_at_names_what_was_built_on_it() {
    let farm = Keyboard::of_a_farm();
    farm.run(&["variety", "add", "Ember Lantern", "--on", "2025-10-20"]).done();
    let lift = ["lot", "lift", "Ember Lantern", "--clumps", "3", "--on", "2025-10-20", "--json"];
    let clumps = code(&farm.run(&lift).json(), 0);
    let divide =
        ["lot", "divide", &clumps, "--clumps", "3", "--sound", "9", "--on", "2025-11-01", "--json"];
    let divided = farm.run(&divide).json();
    let lot = code(&divided, 0);
    let look = farm.run(&["check", "add", &lot, "--sound", "9", "--json"]).json();
    let entry =
        |answer: &serde_json::Value| answer["noted"][0]["entry"].as_str().unwrap().to_owned();
    let undone = farm.run(&["undo", &entry(&divided)]).done();
    let end = &entry(&look)[28..];
    assert!(undone.contains(end), "{end} is not in {undone}");
    let status = farm.run(&["status"]).done();
    assert!(status.contains(end), "{end} is not in {status}");
    farm.run(&["undo"]).done();
    assert!(!farm.run(&["status"]).done().contains("Disagrees"), "all of it is undone");
}

#[test]
fn a_plan_whose_planting_day_has_passed_is_to_be_made_anew() {
    let farm = Keyboard::of_a_farm();
    farm.lot("Ember Lantern", 40, "2025-11-02");
    let words = ["plan", "set", "Ember Lantern", "--plants", "20", "--planting"];
    farm.run(&[&words[..], &["2025-05-10"]].concat()).done();
    assert!(farm.run(&["forecast"]).done().contains("'Ember Lantern' has passed. Plan anew"));
    farm.run(&[&words[..], &["2026-05-10"]].concat()).done();
    assert!(!farm.run(&["forecast"]).done().contains("Plan anew"));
}
