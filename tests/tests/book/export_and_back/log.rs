//! The log, as it is read on a screen.

use serde_json::Value;

use super::farm_in;

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
