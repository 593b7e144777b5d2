//! Looking, the air and the bench at the keyboard: tonight's list, what a look proves, solutions,
//! dividing sessions.

use crate::common::{Keyboard, filtered};
use insta::assert_snapshot;

const STOCK: &str = "\
lot,variety,unit,count,stored on,packing,place
A1,Ember Lantern,division,40,2025-11-02,film-wrap,cellar / shelf 2 / tote 10
A2,Moss Anthem,division,12,2025-11-05,vermiculite,cellar / shelf 2 / tote 9
A3,Ember Lantern,clump,5,2025-11-05,none,barn
A4,Quiet Comet,division,90,2025-11-05,peat,cellar / shelf 1 / tote 1
";

fn stocked() -> Keyboard {
    let farm = Keyboard::of_a_farm();
    let stock = farm.file("stock.csv", STOCK);
    farm.run(&["import", "stock", &stock, "--yes"]).done();
    farm
}

#[test]
fn tonight_is_a_walk_past_the_lots_that_tell_most() {
    let farm = stocked();
    let tonight = farm.run(&["check", "tonight"]);
    let few = farm.run(&["check", "due", "--limit", "2", "--place", "cellar", "--json"]).json();
    let codes = |list: &serde_json::Value| -> Vec<String> {
        let due = list["due"].as_array().unwrap();
        due.iter().map(|lot| lot["variety"].as_str().unwrap().to_owned()).collect()
    };
    assert_eq!(few["of"], 3);
    assert_eq!(codes(&few), ["'Quiet Comet'", "'Ember Lantern'"]);
    assert!(few["due"][0]["sd_after"].as_f64() < few["due"][0]["sd_now"].as_f64());
    farm.run(&["check", "add", "A4", "--sound", "90"]).done();
    let after = farm.run(&["check", "due", "--limit", "2", "--place", "cellar", "--json"]).json();
    assert_eq!(codes(&after), ["'Moss Anthem'", "'Ember Lantern'"]);
    let weak = farm.run(&["check", "due", "--efficacy", "0"]);
    assert_eq!(weak.exit, 3, "{}", weak.err);
    filtered(|| assert_snapshot!("tonight", tonight.all()));
}

#[test]
fn what_a_look_proves_is_said_and_looking_never_shows_freedom_from_what_hides() {
    let farm = Keyboard::new();
    let proves = |words: &[&str]| {
        let all: Vec<&str> = ["sample", "proves"].iter().chain(words).copied().collect();
        farm.run(&all)
    };
    let size = ["--lot-size", "200", "--sample", "51"];
    let with = |more: &[&str]| proves(&[&size[..], more].concat());
    filtered(|| {
        assert_snapshot!("proves_none_found", with(&[]).all());
        assert_snapshot!("proves_two_found", with(&["--found", "2", "--efficacy", "0.8"]).all());
        assert_snapshot!("proves_for_a_virus", with(&["--for", "Mosaic virus"]).all());
        assert_snapshot!("proves_for_an_unknown", with(&["--for", "purple rust"]).all());
        assert_snapshot!("proves_large_lot", proves(&["--sample", "59"]).all());
        assert_snapshot!("proves_nonsense", with(&["--found", "52"]).all());
    });
}

const MIX: [&str; 9] = [
    "bench",
    "mix",
    "--for",
    "tool-dip",
    "--target-percent",
    "0.525",
    "--litres",
    "10",
    "--no-input",
];

#[test]
fn a_dip_is_told_in_parts_with_what_to_mind_and_nothing_is_guessed() {
    let farm = Keyboard::new();
    let mix = |more: &[&str]| farm.run(&[&MIX[..], more].concat());
    let plain = mix(&["--stock-percent", "5.25", "--minutes", "10"]);
    let labelled =
        mix(&["--stock-percent", "5.25", "--minutes", "10", "--label-percent", "0.6", "--json"]);
    assert_eq!(labelled.json()["parts"], "1 + 9");
    let unknown = mix(&["--minutes", "10"]);
    let weak = mix(&["--stock-percent", "0.5", "--minutes", "10"]);
    let strong = mix(&["--stock-percent", "5.25", "--minutes", "10", "--label-percent", "0.5"]);
    let timeless = mix(&["--stock-percent", "5.25"]);
    assert_eq!([unknown.exit, weak.exit, strong.exit, timeless.exit], [3, 3, 3, 5]);
    filtered(|| {
        assert_snapshot!("mix", plain.all());
        assert_snapshot!("mix_unknown_stock", unknown.all());
        assert_snapshot!("mix_weak_stock", weak.all());
        assert_snapshot!("mix_above_label", strong.all());
        assert_snapshot!("mix_asks_for_minutes", timeless.all());
    });
}

#[test]
fn a_dividing_session_says_what_to_mind_and_can_be_read_again() {
    let farm = stocked();
    let bare = farm.run(&["bench", "session", "A3", "--on", "2025-11-06"]);
    let whole = farm.run(&[
        "bench",
        "session",
        "A3",
        "--on",
        "2025-11-07",
        "--tools",
        "disinfected",
        "--tool-sets",
        "2",
        "--until",
        "16:00",
        "--dip",
        "household bleach",
        "--dip-percent",
        "0.5",
        "--dip-label-percent",
        "0.6",
        "--dip-minutes",
        "10",
        "--dip-made-up",
        "13:30",
        "--soak",
        "Bleach",
        "--soak-percent",
        "0.5",
        "--soak-minutes",
        "2",
    ]);
    let listed = farm.run(&["bench", "list"]);
    let shown = farm.run(&["bench", "show", "last"]);
    let data = farm.run(&["bench", "list", "--json"]).json();
    assert_eq!(data["sessions"].as_array().unwrap().len(), 2);
    assert_eq!(data["sessions"][1]["tool_sets"], 2);
    let noon = farm.run(&["bench", "session", "A3", "--until", "noon"]);
    assert_eq!(noon.exit, 3, "{}", noon.err);
    assert_eq!(farm.run(&["bench", "show", "zzz"]).exit, 3);
    filtered(|| {
        assert_snapshot!("session_bare", bare.all());
        assert_snapshot!("session_whole", whole.all());
        assert_snapshot!("session_list", listed.all());
        assert_snapshot!("session_show", shown.all());
    });
}
