//! What one farm states and signs, another checks without a network, with the real programs.

use std::path::PathBuf;

use serde_json::Value;
use spareloop_tests::farm::Device;
use spareloop_tests::network::Network;
use spareloop_tests::on_both;

const TEST: [&str; 14] = [
    "--laboratory",
    "--target",
    "dahlia mosaic virus",
    "--method",
    "ELISA",
    "--tested",
    "12",
    "--positive",
    "0",
    "--at",
    "Invented Plant Laboratory",
    "--on",
    "2026-03-01",
    "--yes",
];

fn beside(device: &Device, ending: &str) -> PathBuf {
    PathBuf::from(format!("{}.{ending}", device.book().display()))
}

#[track_caller]
fn make(device: &Device, lot: &str, what: &[&str]) -> Value {
    device.run(&[&["attest", "make", lot, "--json"], what].concat()).json()
}

fn text<'a>(value: &'a Value, name: &str) -> &'a str {
    value[name].as_str().unwrap_or_else(|| panic!("no {name} in {value}"))
}

/// The one secret half on a device.
fn secret(device: &Device) -> String {
    let file = std::fs::read_to_string(beside(device, "signing")).unwrap();
    let keys: Value = serde_json::from_str(&file).unwrap();
    keys["keys"][0]["secret"].as_str().unwrap().to_owned()
}

on_both! {
    fn a_farms_word_is_checked_by_another_without_a_network(kind: Kind) {
        let mut network = Network::on(kind);
        let (giver, taker) = (network.farm("Ashlode"), network.farm("Brindle"));
        let lot = giver.lot("Ember Lantern", 40);
        giver.run(&["check", "add", &lot, "--inspected", "40", "--sound", "40"]).done();

        let keyless = giver.run(&["attest", "make", &lot, "--looked", "--yes"]).ends_with(5);
        assert!(keyless.contains("attest key new"), "{keyless}");
        let key = giver.run(&["attest", "key", "new", "--json"]).json();
        let first = text(&key, "key").to_owned();
        giver.run(&["attest", "key", "new"]).ends_with(3);
        giver.run(&["attest", "make", &lot, "--looked"]).ends_with(5);
        let made = make(&giver, &lot, &["--looked", "--yes"]);
        assert!(text(&made, "says").contains("40 of 40, none with signs"), "{made}");
        let papers = [&TEST[..], &["--reference", "IPL 26/114"]].concat();
        let tested = make(&giver, &lot, &papers);

        let signed = giver.book().with_file_name("heron.txt").display().to_string();
        let keys = giver.book().with_file_name("heron-keys.json").display().to_string();
        giver.run(&["attest", "export", &lot, "--to", &signed, "--keys-to", &keys]).done();
        taker.sync();
        network.server.kill();

        // By a list of keys that came with it, and by those that the sync brought.
        let read = taker.run(&["attest", "verify", &signed, "--keys", &keys]).done();
        assert!(read.contains("Ashlode states") && read.contains("none found: 0 of 12"), "{read}");
        taker.run(&["attest", "verify", &signed]).done();
        let id = text(&made, "lot").to_owned();
        taker.run(&["attest", "verify", &signed, "--lot", &id]).done();
        let listed = taker.run(&["attest", "list", &id]).done();
        assert!(listed.contains("Tested, none found") && listed.contains("not certificates"), "{listed}");

        let changed = std::fs::read_to_string(&signed).unwrap().replacen("ey", "ez", 1);
        let changed = taker.file("changed.txt", changed);
        taker.run(&["attest", "verify", &changed]).ends_with(3);
        let other = "01890000-0000-7000-8000-000000000000";
        taker.run(&["attest", "verify", &signed, "--lot", other]).ends_with(3);
        taker.run(&["attest", "verify", &signed, "--farm", other]).ends_with(3);

        // Away from the server a statement is signed and kept, and goes with the next sync.
        let away = giver.run(&["attest", "make", &lot, "--origin", "--yes"]);
        assert_eq!(away.exit, 6, "{away:?}");
        assert!(away.out.contains("Kept here"), "{away:?}");
        network.start_again();
        giver.sync();

        // The next key is vouched for by the first; the first is withdrawn and still proves.
        let next = giver.run(&["attest", "key", "rotate", "--json"]).json();
        make(&giver, &lot, &["--looked", "--yes", "--supersedes", text(&made, "statement")]);
        giver.run(&["attest", "key", "withdraw", &first, "--yes"]).done();
        taker.sync();
        let known = taker.run(&["attest", "key", "list"]).done();
        assert!(known.contains("withdrawn") && known.contains("of the farm"), "{known}");
        assert_ne!(text(&next, "key"), first);
        let listed = taker.run(&["attest", "list", &id, "--json"]).json();
        let stands: Vec<bool> = listed["lots"][0]["statements"]
            .as_array()
            .unwrap()
            .iter()
            .map(|one| one["stands"].as_bool().unwrap())
            .collect();
        assert_eq!(stands, [false, true, true, true], "{listed}");

        // Taken back, it counts no more, and its text is refused.
        let statement = text(&tested, "statement");
        giver.run(&["attest", "revoke", statement, "--why", "mixed up", "--yes"]).done();
        taker.sync();
        let refused = taker.run(&["attest", "verify", &signed]);
        assert_eq!(refused.exit, 3, "{refused:?}");
        assert!(refused.out.contains("took it back: mixed up"), "{refused:?}");
        let listed = taker.run(&["attest", "list", &id]).done();
        assert!(listed.contains("No test"), "{listed}");
    }
}

#[test]
fn a_want_that_asks_for_a_test_is_met_only_once_one_is_stated() {
    let network = Network::embedded();
    let (giver, taker) = (network.farm("Ashlode"), network.farm("Brindle"));
    let lot = giver.lot("Ember Lantern", 40);
    let offer = giver.offer(&lot, 8);
    let make_want =
        ["want", "make", "Ember Lantern", "--count", "4", "--require", "laboratory-test", "--json"];
    let want = taker.run(&make_want).json();
    let want = text(&want["want"], "want").to_owned();
    let matched = taker.run(&["match"]).done();
    assert!(matched.contains("statement is missing"), "{matched}");
    let ask = ["hold", "ask", &offer, "--count", "4", "--want", &want, "--value", "1.0"];
    let refused = taker.run(&ask).ends_with(3);
    assert!(refused.contains("laboratory test"), "{refused}");
    giver.run(&["attest", "key", "new"]).done();
    make(&giver, &lot, &[&TEST[..], &["--reference", "IPL 26/114"]].concat());
    taker.run(&ask).done();
}

#[cfg(unix)]
#[test]
fn the_secret_half_of_a_key_stays_in_its_own_file_for_its_owners_eyes() {
    use std::os::unix::fs::PermissionsExt;
    let network = Network::embedded();
    let farm = network.farm("Ashlode");
    farm.lot("Ember Lantern", 40);
    farm.run(&["attest", "key", "new"]).done();
    let mode = std::fs::metadata(beside(&farm, "signing")).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
    let secret = secret(&farm);
    assert_eq!(secret.len(), 43);
    let out = farm.run(&["export", "book"]).done();
    let doctor = farm.run(&["doctor"]);
    let copy = farm.book().with_file_name("copy.sqlite").display().to_string();
    farm.run(&["backup", "make", &copy]).done();
    for place in [out.into_bytes(), doctor.out.into_bytes(), std::fs::read(&copy).unwrap()] {
        assert!(!place.windows(secret.len()).any(|part| part == secret.as_bytes()));
    }
    // Withdrawn, it is thrown away.
    let key = farm.run(&["attest", "key", "list", "--json"]).json();
    let id = key["keys"][0]["id"].as_str().unwrap().to_owned();
    farm.run(&["attest", "key", "withdraw", &id, "--yes"]).done();
    let file = std::fs::read_to_string(beside(&farm, "signing")).unwrap();
    assert!(!file.contains(&secret), "{file}");
    farm.run(&["attest", "make", "Ember", "--origin", "--yes"]).ends_with(3);
}
