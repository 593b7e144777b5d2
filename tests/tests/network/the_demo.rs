//! The demo, as the README's first command runs it: its figures agree with each other and are the
//! same every time.

use std::thread;

use serde_json::Value;
use spareloop_tests::farm::Device;

fn play(folder: &std::path::Path) -> Value {
    let device = Device::in_folder(folder);
    let told = device.run(&["demo", "--json"]).json();
    assert!(!device.book().exists(), "the demo touches no stock book");
    told
}

/// What every run makes anew: ids, the codes of lots that come from ids, and times.
const ANEW: [&str; 12] = [
    "id",
    "hold",
    "offer",
    "want",
    "hand_over",
    "lot",
    "received_lot",
    "at",
    "until",
    "from",
    "to",
    "log",
];

/// The story without what every run makes anew.
fn story(mut told: Value) -> Value {
    fn forget(value: &mut Value) {
        match value {
            Value::Object(fields) => {
                fields.retain(|name, value| !ANEW.contains(&name.as_str()) || value.is_object());
                fields.values_mut().for_each(forget);
            }
            Value::Array(values) => values.iter_mut().for_each(forget),
            _ => {}
        }
    }
    let mut story = told["story"].take();
    forget(&mut story);
    story
}

fn sum(holds: &Value) -> u64 {
    holds.as_array().unwrap().iter().map(|hold| hold["count"].as_u64().unwrap()).sum()
}

#[test]
fn its_figures_agree_and_are_the_same_every_time() {
    let folders = [tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap()];
    let [told, again] = thread::scope(|scope| {
        let running = folders.each_ref().map(|folder| scope.spawn(|| play(folder.path())));
        running.map(|thread| thread.join().unwrap())
    });
    assert_eq!((&told["spareloop"], &told["kind"]), (&1.into(), &"demo".into()));
    let tale = &told["story"];

    let farms = tale["farms"].as_array().unwrap();
    assert_eq!(farms.len(), 12);
    for farm in farms {
        let figure = |name: &str| farm[name].as_f64().unwrap();
        assert!(figure("entries") > 0.0 && figure("in_store") > 0.0, "{farm}");
        assert!(
            figure("low") <= figure("expected") && figure("expected") <= figure("high"),
            "{farm}"
        );
        assert!(figure("high") <= figure("in_store"), "no more comes out than is in: {farm}");
    }
    assert!(tale["offers"].as_u64().unwrap() > 0 && tale["wants"].as_u64().unwrap() > 0);
    assert!(!tale["mutual"].as_array().unwrap().is_empty());

    // A parcel each way, one of them a tuber short, and every ledger line twice: sent, received.
    let parcels = tale["swap"]["parcels"].as_array().unwrap();
    assert_eq!(parcels.len(), 2);
    assert!(parcels.iter().all(|hold| hold["state"] == "received"));
    let count = |hold: &Value, side: &str| hold["hand_over"][side].as_i64().unwrap();
    assert_eq!(count(&parcels[0], "given") - count(&parcels[0], "received"), 1);
    assert_eq!(tale["swap"]["log"].as_array().unwrap().len(), 4);

    // What each farm is owed is what was received at the agreed value, and all of it sums to zero.
    let owed = tale["owed"]["balances"].as_array().unwrap();
    let tenths: Vec<i64> = owed.iter().map(|it| it["owed_tenths"].as_i64().unwrap()).collect();
    assert_eq!(tenths.iter().sum::<i64>(), 0);
    let uneven = 10 * (count(&parcels[1], "received") - count(&parcels[0], "received"));
    assert_eq!(tenths.iter().max(), Some(&uneven.abs()));

    // The cut: what remains promised is borne by what is left, and both sides were told.
    let cut = &tale["cut"];
    let left = cut["in_store"].as_u64().unwrap() - cut["lost"].as_u64().unwrap();
    let after = cut["after"].as_array().unwrap();
    assert_eq!(cut["before"].as_array().unwrap().len(), 2);
    assert_eq!(after.iter().filter(|hold| hold["state"] == "cut").count(), 1);
    let live: Vec<Value> = after.iter().filter(|hold| hold["state"] == "agreed").cloned().collect();
    let live = sum(&live.into());
    assert!(live > 0 && live <= left, "{live} promised of {left}");
    assert!(sum(&cut["before"]) > left, "else nothing had to be cut");
    let told_farms: Vec<&str> =
        cut["told"].as_array().unwrap().iter().map(|line| line[0].as_str().unwrap()).collect();
    assert!(told_farms.len() >= 2 && told_farms.contains(&cut["giver"].as_str().unwrap()));

    let (told, again) = (story(told), story(again));
    for (part, value) in told.as_object().unwrap() {
        assert_eq!(value, &again[part], "{part}");
    }
}
