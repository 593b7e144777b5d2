//! Counts are statements, what was undone comes back, a season is closed: the real program.

use crate::common::{Keyboard, code};

fn farm() -> (Keyboard, String) {
    let farm = Keyboard::of_a_farm();
    let lot = farm.lot("Ember Lantern", 40, "2025-11-02");
    (farm, lot)
}

fn in_store(farm: &Keyboard, lot: &str) -> u64 {
    farm.run(&["lot", "show", lot, "--json"]).json()["lot"]["in_store"].as_u64().unwrap()
}

#[test]
fn a_count_that_differs_asks_what_became_of_them_and_notes_nothing() {
    let (farm, lot) = farm();
    let asks: [(&[&str], &str); 4] = [
        (&["lot", "recount", &lot, "--counted", "38"], "--missing"),
        (&["lot", "recount", &lot, "--counted", "43"], "--found"),
        (&["check", "add", &lot, "--sound", "38"], "--missing"),
        (&["check", "add", &lot, "--sound", "43"], "--found"),
    ];
    for (words, flag) in asks {
        let said = farm.run(words);
        assert_eq!(said.exit, 5, "{words:?}: {}", said.err);
        assert!(said.err.contains(flag) && said.err.contains("Nothing was noted"), "{}", said.err);
        assert_eq!(in_store(&farm, &lot), 40);
    }
    farm.run(&["check", "add", &lot, "--sound", "43", "--found"]).done();
    assert_eq!(in_store(&farm, &lot), 43);
    farm.run(&["lot", "recount", &lot, "--counted", "41", "--missing", "mislaid"]).done();
    assert_eq!(in_store(&farm, &lot), 41);
    farm.run(&["lot", "recount", &lot, "--counted", "45", "--found"]).done();
    for words in
        [["--counted", "46", "--missing", "rot"].as_slice(), &["--counted", "44", "--found"]]
    {
        let words = [["lot", "recount", lot.as_str()].as_slice(), words].concat();
        assert_eq!(farm.run(&words).exit, 3);
    }
    farm.run(&["check", "book"]).done();
}

#[test]
fn more_than_is_there_is_neither_divided_planted_potted_sent_nor_lost() {
    let (farm, lot) = farm();
    let words: [&[&str]; 6] = [
        &["lot", "divide", &lot, "--clumps", "41", "--sound", "41"],
        &["lot", "split", &lot, "--count", "41"],
        &["lot", "plant-out", &lot, "--count", "41"],
        &["lot", "pot-up", &lot, "--taken", "41"],
        &["lot", "send", &lot, "--count", "41", "--to", "a friend", "--purpose", "gift"],
        &["lot", "lose", &lot, "--count", "41", "--cause", "rot"],
    ];
    for words in words {
        let said = farm.run(words);
        assert_eq!(said.exit, 3, "{words:?}: {}", said.err);
        assert!(said.err.contains("recount"), "{}", said.err);
        assert_eq!(in_store(&farm, &lot), 40);
    }
}

#[test]
fn undo_goes_back_step_by_step_and_redo_comes_forward_again() {
    let (farm, lot) = farm();
    farm.run(&["lot", "lose", &lot, "--count", "1", "--cause", "rot"]).done();
    farm.run(&["lot", "lose", &lot, "--count", "2", "--cause", "rot"]).done();
    farm.run(&["undo"]).done();
    assert_eq!(in_store(&farm, &lot), 39);
    farm.run(&["undo"]).done();
    assert_eq!(in_store(&farm, &lot), 40);
    farm.run(&["redo"]).done();
    assert_eq!(in_store(&farm, &lot), 39);
    let said = farm.run(&["redo"]).done();
    assert!(said.starts_with("Brought back: took out of lot"), "{said}");
    assert_eq!(in_store(&farm, &lot), 37);
    assert_eq!(farm.run(&["redo"]).exit, 3, "nothing is left to bring back");
    farm.run(&["undo"]).done();
    farm.run(&["lot", "move", &lot, "--to", "barn"]).done();
    assert_eq!(farm.run(&["redo"]).exit, 3, "something else was noted since");
    farm.run(&["check", "book"]).done();
}

#[test]
fn what_stands_in_the_chain_is_struck_out_and_the_strike_out_taken_back() {
    let (farm, lot) = farm();
    let loss = ["lot", "lose", &lot, "--count", "2", "--cause", "rot", "--json"];
    let entry = farm.run(&loss).json()["noted"][0]["entry"].as_str().unwrap().to_owned();
    farm.run(&["lot", "move", &lot, "--to", "barn"]).done();
    let said = farm.run(&["undo", &entry]).done();
    assert!(said.starts_with("Struck out: took out"), "{said}");
    assert_eq!(in_store(&farm, &lot), 40);
    farm.run(&["redo"]).done();
    assert_eq!(in_store(&farm, &lot), 38);
}

#[test]
fn an_import_is_undone_and_brought_back_as_a_whole() {
    let (farm, lot) = farm();
    let stock = farm.file(
        "autumn.csv",
        "lot,variety,unit,count,stored on,place\nB1,Moss Anthem,division,12,2025-11-05,barn\nB2,Moss Anthem,division,8,2025-11-05,barn\n",
    );
    farm.run(&["import", "stock", &stock, "--yes"]).done();
    let asked = farm.run(&["undo"]);
    assert_eq!(asked.exit, 5, "{}", asked.err);
    assert!(asked.err.contains("autumn.csv") && asked.err.contains("--import"), "{}", asked.err);
    farm.run(&["undo", "--import"]).done();
    assert_eq!(farm.run(&["lot", "show", "B1"]).exit, 3);
    farm.run(&["redo"]).done();
    assert_eq!(in_store(&farm, "B2"), 8);
    farm.run(&["lot", "lose", &lot, "--count", "2", "--cause", "rot"]).done();
    farm.run(&["undo", "--import"]).done();
    assert_eq!(farm.run(&["lot", "show", "B1"]).exit, 3);
    assert_eq!(in_store(&farm, &lot), 38);
    farm.run(&["redo"]).done();
    assert_eq!(in_store(&farm, "B1"), 12);
    farm.run(&["check", "book"]).done();
}

#[test]
fn a_season_is_previewed_closed_reopened_closed_and_confirmed() {
    let (farm, lot) = farm();
    farm.run(&["lot", "plant-out", &lot, "--count", "30", "--on", "2026-03-10"]).done();
    let preview = farm.run(&["season", "close", "2026"]);
    assert_eq!(preview.exit, 5);
    assert!(preview.out.contains("go on into 2027, under the same code: 1"), "{}", preview.out);
    assert!(farm.run(&["season", "list"]).done().starts_with("No season"));
    farm.run(&["season", "close", "2026", "--yes"]).done();
    let old = ["lot", "lose", &lot, "--count", "1", "--cause", "rot", "--on", "2026-02-01"];
    let refused = farm.run(&old);
    assert_eq!(refused.exit, 3);
    assert!(refused.err.contains("Season 2026 was closed"), "{}", refused.err);
    farm.run(&["season", "reopen", "2026"]).done();
    farm.run(&old).done();
    farm.run(&["season", "close", "2026", "--yes"]).done();
    farm.run(&["season", "confirm", "2026", "--yes"]).done();
    assert_eq!(farm.run(&["season", "reopen", "2026"]).exit, 3);
    let shown = farm.run(&["season", "show", "2026", "--json"]).json();
    assert_eq!(shown["lots"][0]["carried"], 9);
    assert_eq!(shown["lots"][0]["gone"]["planted"], 30);
    assert_eq!(in_store(&farm, &lot), 9);
    let lifted = ["lot", "lift", "Ember Lantern", "--clumps", "28", "--grown-of", &lot, "--json"];
    let clumps = code(&farm.run(&lifted).json(), 0);
    let shown = farm.run(&["lot", "show", &clumps]).done();
    assert!(shown.contains(&format!("grown of lot {lot}")), "{shown}");
    farm.run(&["check", "book"]).done();
}

#[test]
fn a_season_that_can_not_be_closed_is_not_previewed_and_no_copy_is_made_for_it() {
    let (farm, _) = farm();
    farm.run(&["season", "close", "2026", "--yes"]).done();
    let copies =
        || farm.run(&["backup", "list", "--json"]).json()["copies"].as_array().unwrap().len();
    let before = copies();
    for words in [&["season", "close", "2026"][..], &["season", "close", "2026", "--yes"]] {
        let refused = farm.run(words);
        assert_eq!(refused.exit, 3, "{}", refused.all());
        assert!(refused.err.contains("already") && refused.err.contains("2027"), "{}", refused.err);
    }
    assert_eq!(farm.run(&["season", "close", "2033"]).exit, 3);
    assert_eq!(farm.run(&["season", "close", "2033", "--yes"]).exit, 3);
    assert_eq!(copies(), before);
}

#[test]
fn what_is_due_comes_in_walking_order_and_what_disagrees_exits_5() {
    let (farm, lot) = farm();
    farm.run(&["lot", "move", &lot, "--to", "cellar / tote 10", "--on", "2025-11-03"]).done();
    let other = farm.lot("Moss Anthem", 5, "2025-11-02");
    farm.run(&["lot", "move", &other, "--to", "cellar / tote 9", "--on", "2025-11-03"]).done();
    let due = farm.run(&["check", "due", "--place", "cellar", "--json"]).json();
    let codes: Vec<&str> =
        due["due"].as_array().unwrap().iter().map(|it| it["code"].as_str().unwrap()).collect();
    assert_eq!(codes, [other.as_str(), lot.as_str()]);
    assert!(farm.run(&["check", "due", "--every", "300"]).done().starts_with("No lot is due"));

    // Losing what a struck-out receipt brought in disagrees.
    farm.run(&["lot", "recount", &lot, "--counted", "44", "--found"]).done();
    let log = farm.run(&["log", "--kind", "recount", "--json"]).json();
    let found = log["entries"][0]["entry"].as_str().unwrap().to_owned();
    farm.run(&["lot", "lose", &lot, "--count", "43", "--cause", "rot"]).done();
    farm.run(&["undo", &found]).done();
    let checked = farm.run(&["check", "book"]);
    assert_eq!(checked.exit, 5, "{}", checked.all());
    assert!(checked.out.contains("43 taken from lot") && checked.out.contains("43 lost to rot"));
    farm.run(&["redo"]).done();
    farm.run(&["check", "book"]).done();
}
