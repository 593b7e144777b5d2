//! What people and machines get wrong: a clear error, the documented exit code, nothing lost.

use crate::common::{Keyboard, filtered};
use insta::assert_snapshot;

fn preview(content: impl AsRef<[u8]>) -> crate::common::Said {
    let farm = Keyboard::of_a_farm();
    let file = farm.file("stock.csv", content);
    farm.run(&["import", "stock", &file])
}

#[test]
fn negative_and_huge_counts_are_refused() {
    let farm = Keyboard::of_a_farm();
    let lot = farm.lot("Ember Lantern", 40, "2025-11-02");
    let before = farm.run(&["export"]).done();
    let negative = farm.run(&["lot", "lose", &lot, "--count", "-3", "--cause", "rot"]);
    let huge = farm.run(&["lot", "lose", &lot, "--count", "400000000", "--cause", "rot"]);
    let more = farm.run(&["lot", "lose", &lot, "--count", "41", "--cause", "rot"]);
    let nothing = farm.run(&["lot", "lose", &lot, "--count", "0", "--cause", "rot"]);
    for said in [&negative, &huge, &more, &nothing] {
        assert_eq!(said.exit, 3, "{}", said.err);
    }
    filtered(|| {
        assert_snapshot!("negative", negative.all());
        assert_snapshot!("huge", huge.all());
        assert_snapshot!("more_than_there", more.all());
    });
    assert_eq!(farm.run(&["export"]).done(), before);
}

/// Imports sheets one after the other, and answers what the last one said.
fn imported_in_turn(sheets: &[(&str, &str)]) -> crate::common::Said {
    let farm = Keyboard::of_a_farm();
    let import = |(kind, content): &(&str, &str)| {
        let file = farm.file("sheet.csv", content);
        farm.run(&["import", kind, &file, "--yes"])
    };
    let mut said: Vec<crate::common::Said> = sheets.iter().map(import).collect();
    said.pop().unwrap()
}

#[test]
fn a_second_lot_under_the_label_of_a_first_is_not_taken_for_it() {
    let stock = "lot label,variety,count\nT1,Ember Lantern,3\nT1,Ember Lantern,4\n";
    let lifted = "lot label,variety,clumps,date\n7,Ember Lantern,3,2025-10-20\n";
    let twice = imported_in_turn(&[("stock", stock)]);
    assert_eq!(twice.exit, 3, "{}", twice.all());
    assert!(twice.out.contains("row 3: wrong: the label T1"), "{}", twice.out);
    let bench = "lot label,from lot,clumps,date,sound\n7,7,3,2025-10-21,12\n";
    let own = imported_in_turn(&[("lifted", lifted), ("bench", bench)]);
    assert_eq!(own.exit, 3, "{}", own.all());
    assert!(own.out.contains("give this lot another label"), "{}", own.out);
}

#[test]
fn a_count_that_a_sheet_changed_since_is_not_skipped() {
    let lifted = "lot label,variety,clumps,date\n7,Ember Lantern,3,2025-10-20\n";
    let more = lifted.replace("n,3,", "n,5,");
    let said = imported_in_turn(&[("lifted", lifted), ("lifted", &more)]);
    assert_eq!(said.exit, 3, "{}", said.all());
    assert!(said.out.contains("the count was 3 when it was imported"), "{}", said.out);
}

#[test]
fn rows_that_a_quotation_mark_swallowed_or_a_cut_shortened_stop_the_import() {
    let open = preview("variety,count,place\nAster Loom,4,\"cellar\nBriar Vale,5,barn\n");
    assert_eq!(open.exit, 3);
    assert!(open.err.contains("row 2") && open.err.contains("Nothing was written"), "{}", open.err);
    let stray = preview(
        "variety,count,place\nAster Loom,4,\"cellar\nBriar Vale,5,barn\nCinder Wick,6,\"loft\n",
    );
    assert_eq!(stray.exit, 3, "{}", stray.all());
    assert!(
        stray.out.contains("row 2: wrong: place: the cell holds several rows"),
        "{}",
        stray.out
    );
    let cut = preview("variety,count,place\nAster Loom,40,barn\nBriar Vale,4");
    assert_eq!(cut.exit, 3);
    assert!(cut.err.contains("cut short") && cut.err.contains("row 3"), "{}", cut.err);
}

#[test]
fn very_short_names_are_no_slips_of_each_other_and_long_notes_are_shortened() {
    let short = preview("variety,count\nA,4\nB,5\n");
    assert_eq!(short.exit, 5, "{}", short.all());
    let long = preview(format!("variety,count,place\nAster Loom,4,{}\n", "p".repeat(5_000)));
    assert_eq!(long.exit, 3);
    assert!(long.out.len() < 1_000, "{}", long.out);
}

#[test]
fn looks_at_lots_that_no_sheet_brought_yet_lead_to_the_import_of_stock() {
    let sheet = "lot,variety,count,2025-11-12\nW1,Tin Orchard,30,29\n";
    let refused = imported_in_turn(&[("checks", sheet)]);
    assert!(refused.out.contains("spareloop import stock FILE"), "{}", refused.out);
    let stock = imported_in_turn(&[("stock", sheet), ("checks", sheet)]);
    assert_eq!(stock.exit, 5, "what the one was lost to is asked: {}", stock.all());
}

#[test]
fn a_cause_of_loss_that_a_sheet_changed_since_is_corrected() {
    let stock = "lot label,variety,count,stored on\nA1,Ember Lantern,40,2025-11-02\n";
    let checks = "lot label,date,sound,rot\nA1,2025-11-20,38,2\n";
    let frozen = checks.replace("rot", "frozen");
    let said = imported_in_turn(&[("stock", stock), ("checks", checks), ("checks", &frozen)]);
    assert!(said.out.contains("0 new, 1 changed"), "{}", said.all());
}

#[test]
fn a_variety_planned_twice_in_one_sheet_is_not_decided_by_the_last_row() {
    let plan = "variety,plants wanted\nEmber Lantern,3\nEmber Lantern,5\n";
    let said = imported_in_turn(&[("plan", plan)]);
    assert_eq!(said.exit, 3, "{}", said.all());
    assert!(said.out.contains("row 3: wrong: 'Ember Lantern' (division)"), "{}", said.out);
}

#[test]
fn two_columns_of_one_heading_ask_for_another_heading() {
    let said = preview("variety,variety,count\nEmber,Lantern,3\n");
    assert_eq!(said.exit, 5, "{}", said.all());
    assert!(said.err.contains("different headings"), "{}", said.err);
}

#[test]
fn nothing_is_missing_where_more_are_counted_than_the_book_says() {
    let farm = Keyboard::of_a_farm();
    let lot = farm.lot("Ember Lantern", 40, "2025-11-02");
    let before = farm.run(&["export"]).done();
    let recount = farm.run(&["lot", "recount", &lot, "--counted", "42", "--missing", "rot"]);
    let check = farm.run(&["check", "add", &lot, "--sound", "42", "--missing", "rot"]);
    assert_eq!(recount.exit, 3, "{}", recount.err);
    assert_eq!(check.exit, 5, "{}", check.err);
    assert_eq!(farm.run(&["export"]).done(), before);
}

#[test]
fn days_before_the_lift_and_days_to_come_are_refused() {
    let farm = Keyboard::of_a_farm();
    let lot = farm.lot("Ember Lantern", 40, "2025-11-02");
    let early = farm.run(&["check", "add", &lot, "--sound", "40", "--on", "2025-10-01"]);
    let late = farm.run(&["check", "add", &lot, "--sound", "40", "--on", "2026-07-01"]);
    let no_day = farm.run(&["check", "add", &lot, "--sound", "40", "--on", "soon"]);
    for said in [&early, &late, &no_day] {
        assert_eq!(said.exit, 3, "{}", said.err);
    }
    filtered(|| {
        assert_snapshot!("before_it_began", early.all());
        assert_snapshot!("still_to_come", late.all());
    });
}

#[test]
fn unknown_names_are_answered_with_the_nearest_known_ones() {
    let farm = Keyboard::of_a_farm();
    let lot = farm.lot("Ember Lantern", 40, "2025-11-02");
    let variety = farm.run(&["forecast", "Ember Lantren"]);
    let new = farm.run(&["variety", "add", "Ember Lanterm"]);
    let swapped: String = lot.chars().rev().collect();
    let unknown_lot = farm.run(&["lot", "show", &swapped]);
    let cause = farm.run(&["lot", "lose", &lot, "--count", "1", "--cause", "rto"]);
    farm.run(&["lot", "move", &lot, "--to", "cellar / shelf 2"]).done();
    let place = farm.run(&["lot", "list", "--place", "celler"]);
    let compute = farm.run_on(&["compute", "sample-sise"], "{}");
    assert_eq!((unknown_lot.exit, cause.exit), (3, 3));
    filtered(|| {
        assert_snapshot!("near_variety", variety.all());
        assert_snapshot!("near_new_variety", new.all());
        assert_snapshot!("near_place", place.all());
        assert_snapshot!("near_kind", compute.all());
    });
}

#[test]
fn wrong_rows_are_named_by_their_row_and_stop_the_import() {
    let farm = Keyboard::of_a_farm();
    let file = farm.file(
        "stock.csv",
        "variety,count,stored on\n\
         Ember Lantern,40,2025-11-02\n\
         Ember Lantren,3,2025-11-02\n\
         Moss Anthem,-4,2025-11-02\n\
         Moss Anthem,4000000000,2025-11-02\n\
         Moss Anthem,\"1,5\",2025-11-02\n\
         Moss Anthem,5,2029-01-01\n\
         Moss Anthem,5,31.2.2026\n\
         Moss Anthem,\n\
         ,5,2025-11-02\n\
         Moss Anthem,5,2025-11-02\n",
    );
    let stopped = farm.run(&["import", "stock", &file, "--yes"]);
    assert_eq!(farm.run(&["export"]).done(), "");
    let rest = farm.run(&["import", "stock", &file, "--yes", "--leave-out-wrong"]);
    filtered(|| {
        assert_snapshot!("wrong_rows", stopped.all());
        assert_snapshot!("wrong_rows_left_out", rest.all());
    });
}

#[test]
fn a_file_with_semicolons_decimal_commas_and_windows_1252_is_read() {
    let said = preview(
        b"\"Variety\";How many;Stored;Where\n\"Caf\xE9 au soir\";40,0;3.11.2025;cellar / shelf 1\n",
    );
    filtered(|| assert_snapshot!("semicolons", said.all()));
}

#[test]
fn a_byte_order_mark_and_tabs_are_read() {
    let said = preview("\u{feff}variety\tcount\nEmber Lantern\t40\n");
    assert!(said.out.contains("1 new"), "{}", said.all());
}

#[test]
fn a_missing_column_is_asked_for_and_a_mapped_one_is_remembered() {
    let farm = Keyboard::of_a_farm();
    let file = farm.file("stock.csv", "variety,heap\nEmber Lantern,40\n");
    let asked = farm.run(&["import", "stock", &file, "--yes"]);
    farm.run(&["import", "stock", &file, "--yes", "--map", "heap=count"]).done();
    let next = farm.file("next.csv", "variety,heap\nMoss Anthem,12\n");
    let remembered = farm.run(&["import", "stock", &next, "--yes"]);
    filtered(|| {
        assert_snapshot!("missing_column", asked.all());
        assert_snapshot!("remembered_column", remembered.all());
    });
}

#[test]
fn dates_that_could_be_read_two_ways_are_asked_about() {
    let farm = Keyboard::of_a_farm();
    let file = farm.file("stock.csv", "variety,count,stored on\nEmber Lantern,40,3/11/2025\n");
    let asked = farm.run(&["import", "stock", &file, "--yes"]);
    filtered(|| assert_snapshot!("ambiguous_dates", asked.all()));
    farm.run(&["import", "stock", &file, "--yes", "--date-order", "day-first"]).done();
    let lots = farm.run(&["lot", "list", "--json"]).json();
    assert_eq!(lots["lots"][0]["began"], "2025-11-03");
}

#[test]
fn a_million_rows_are_refused_and_nothing_is_written() {
    let rows = "Ember Lantern,40\n".repeat(1_000_000);
    let said = preview(format!("variety,count\n{rows}"));
    filtered(|| assert_snapshot!("million_rows", said.all()));
}

#[test]
fn a_look_before_its_lot_and_an_unknown_label_are_wrong_rows() {
    let farm = Keyboard::of_a_farm();
    let stock =
        farm.file("stock.csv", "lot,variety,count,stored on\nA1,Ember Lantern,40,2025-11-02\n");
    farm.run(&["import", "stock", &stock, "--yes"]).done();
    let checks = farm.file(
        "checks.csv",
        "lot,date,inspected,sound,rot\n\
         A1,2025-10-01,40,40,0\n\
         A9,2025-12-01,40,40,0\n\
         A1,2025-12-01,40,39,2\n\
         A1,2025-12-01,41,41,0\n\
         A1,2025-12-02,40,38,2\n\
         A1,2025-12-20,40,40,0\n",
    );
    let said = farm.run(&["import", "checks", &checks]);
    filtered(|| assert_snapshot!("wrong_checks", said.all()));
}

#[test]
fn a_row_changed_in_the_file_changes_what_its_import_said() {
    let farm = Keyboard::of_a_farm();
    let stock = "lot,variety,count,stored on,place\nA1,Ember Lantern,40,2025-11-02,barn\n";
    let checks = "lot,date,inspected,sound,rot\nA1,2025-12-02,40,38,2\n";
    let stock_file = farm.file("stock.csv", stock);
    let checks_file = farm.file("checks.csv", checks);
    farm.run(&["import", "stock", &stock_file, "--yes"]).done();
    farm.run(&["import", "checks", &checks_file, "--yes"]).done();
    farm.file("stock.csv", stock.replace("barn", "cellar"));
    farm.file("checks.csv", checks.replace("38,2", "39,1"));
    let moved = farm.run(&["import", "stock", &stock_file, "--yes"]);
    let corrected = farm.run(&["import", "checks", &checks_file, "--yes"]);
    let recounted = farm.file("stock.csv", stock.replace("40", "35"));
    let recounted = farm.run(&["import", "stock", &recounted, "--yes"]);
    filtered(|| {
        assert_snapshot!("changed_place", moved.all());
        assert_snapshot!("changed_check", corrected.all());
        assert_snapshot!("changed_count", recounted.all());
    });
    let lots = farm.run(&["lot", "list", "--json"]).json();
    assert_eq!(lots["lots"][0]["in_store"], 39);
    assert_eq!(lots["lots"][0]["place"], "cellar");
}

#[test]
fn a_workbook_and_a_file_that_is_not_there_are_refused() {
    let farm = Keyboard::of_a_farm();
    let book = farm.file("stock.xlsx", b"PK\x03\x04...");
    assert_eq!(farm.run(&["import", "stock", &book]).exit, 3);
    assert_eq!(farm.run(&["import", "stock", "nowhere.csv"]).exit, 3);
}

#[test]
fn compute_names_the_field_and_prints_nothing_on_bad_input() {
    let farm = Keyboard::new();
    let answer = farm.run_on(
        &["compute", "sample-size"],
        r#"{"lot_size":200,"level":0.05,"confidence":0.95,"efficacy":1.0}"#,
    );
    let answer: serde_json::Value = serde_json::from_str(&answer.done()).unwrap();
    assert_eq!(answer["sample_size"], 51);
    for (kind, input, field) in [
        ("sample-size", r#"{"lot_size":200,"level":1.5,"confidence":0.95,"efficacy":1}"#, "level"),
        ("vapour", r#"{"temperature_c":7.2}"#, "relative_humidity"),
        (
            "detection",
            r#"{"lot_size":null,"affected_units":3,"sample_size":2,"efficacy":1}"#,
            "lot_size",
        ),
        (
            "loss-forecast",
            r#"{"units":[{"count":-1,"days":3}],"log_hazard_mean":-7,"log_hazard_sd":0.5}"#,
            "count",
        ),
        (
            "loop-values",
            r#"{"varieties":[{"id":"a","multiplication":3}],"supply":[],"wants":[{"id":"w","count":1,"accepts":[{"variety":"b","worth":1}]}]}"#,
            "wants[0].accepts[0].variety",
        ),
    ] {
        let said = farm.run_on(&["compute", kind], input);
        assert_eq!((said.exit, said.out.as_str()), (3, ""), "{kind}: {}", said.err);
        assert!(said.err.contains(field), "{kind}: {}", said.err);
    }
    let said = farm.run_on(&["compute", "vapour", "--json"], "not json");
    assert_eq!((said.exit, said.out.as_str()), (3, ""));
}

#[test]
fn a_command_written_wrong_exits_2() {
    let farm = Keyboard::new();
    assert_eq!(farm.run(&["lot", "lfit"]).exit, 2);
    assert_eq!(farm.run(&[]).exit, 2);
    assert_eq!(farm.run(&["check", "add"]).exit, 2);
}

#[test]
fn a_document_too_large_to_compute_is_refused_as_that() {
    let farm = Keyboard::new();
    let said = farm.run_on(&["compute", "vapour"], &" ".repeat(17 * 1024 * 1024));
    assert_eq!((said.exit, said.out.as_str()), (3, ""));
    assert!(said.err.contains("larger than 16 MiB"), "{}", said.err);
}

#[cfg(target_os = "linux")]
#[test]
fn help_that_a_full_disk_swallowed_is_not_called_done() {
    let farm = Keyboard::new();
    let full = std::fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    let status = farm.spareloop().arg("--help").stdout(full).status().unwrap();
    assert_eq!(status.code(), Some(1));
}

#[test]
fn a_wrong_command_line_that_asks_for_json_is_refused_in_json() {
    let farm = Keyboard::new();
    for (words, exit) in [
        (&["lot", "lose", "7KQ4M", "--count", "-3", "--cause", "rot", "--json"][..], 3),
        (&["check", "add", "--json"][..], 2),
    ] {
        let said = farm.run(words);
        let fault: serde_json::Value = serde_json::from_str(&said.err).unwrap();
        assert_eq!((said.exit, fault["exit"].as_i64()), (exit, Some(i64::from(exit))));
        assert_eq!(fault["kind"], "fault");
    }
}
