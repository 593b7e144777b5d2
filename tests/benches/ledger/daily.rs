//! What a grower does every evening, on a long book and on a short one.

use serde_json::Value;
use spareloop_tests::farm::Device;

use crate::filled::{fill, forget_snapshots};
use crate::{SHORT, Size, line, middle, timed};

/// In the last season's winter, so that there is something in store.
const EVENING: &str = "2026-03-20";

pub(crate) fn run(size: Size) {
    let folder = tempfile::tempdir().unwrap();
    let long = Device::of_a_farm(&folder.path().join("long"), "Long");
    let short = Device::of_a_farm(&folder.path().join("short"), "Short");
    let entries = fill(&long, size.entries, 1);
    let few = fill(&short, SHORT, 1);
    println!("\ndaily commands ({entries} entries; baseline: the same command on {few} entries)");
    let said = |device: &Device, words: &[&str]| device.run(words).json();
    // The first opening folds everything and leaves snapshots behind.
    for device in [&long, &short] {
        said(device, &["status", "--json"]);
    }
    let from_snapshot = said(&long, &["lot", "list", "--json"]);
    forget_snapshots(&long);
    assert_eq!(said(&long, &["lot", "list", "--json"]), from_snapshot);

    let lot = in_store(&from_snapshot);
    let of_short = in_store(&said(&short, &["lot", "list", "--json"]));
    for (what, words, on_short) in [
        ("status", vec!["status"], vec!["status"]),
        ("lot show", vec!["lot", "show", &lot.0], vec!["lot", "show", &of_short.0]),
        ("forecast", vec!["forecast"], vec!["forecast"]),
    ] {
        let baseline = middle(size.runs, || drop(short.run(&on_short).done()));
        line(&format!("{what}, short book"), baseline, baseline);
        let took = middle(size.runs, || drop(long.run(&words).done()));
        line(&format!("{what}, long book, from a snapshot"), took, baseline);
    }
    let baseline = middle(size.runs, || look(&short, &of_short));
    line("check add, short book", baseline, baseline);
    line(
        "check add, long book, from a snapshot",
        middle(size.runs, || look(&long, &lot)),
        baseline,
    );
    forget_snapshots(&long);
    let ((), replay) = timed(|| drop(long.run(&["status"]).done()));
    line("status, long book, folded from nothing", replay, baseline);
}

fn in_store(list: &Value) -> (String, String) {
    let lots = list["lots"].as_array().unwrap();
    let lot = lots.iter().find(|lot| lot["in_store"].as_u64() > Some(0)).unwrap();
    (lot["code"].as_str().unwrap().to_owned(), lot["in_store"].to_string())
}

fn look(device: &Device, (lot, there): &(String, String)) {
    device.run(&["check", "add", lot, "--sound", there, "--on", EVENING]).done();
}
