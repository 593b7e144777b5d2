//! A claim with the real programs, on both databases: made, granted, booked; and one that is decided.

use serde_json::Value;
use spareloop_tests::farm::Device;
use spareloop_tests::network::Network;
use spareloop_tests::on_both;

fn owed(device: &Device, farm: &str) -> i64 {
    let book = device.run(&["owed", "--json"]).json();
    let all = book["balances"].as_array().unwrap();
    assert_eq!(all.iter().map(|one| one["owed_tenths"].as_i64().unwrap()).sum::<i64>(), 0);
    let one = all.iter().find(|one| one["farm"]["name"] == farm).unwrap();
    one["owed_tenths"].as_i64().unwrap()
}

/// Ten handed over and received at 1.5 each; answers the hand-over.
fn passed(giver: &Device, taker: &Device) -> String {
    let lot = giver.lot("Ember Lantern", 40);
    giver.sync();
    let offer = giver.offer(&lot, 20);
    let ask = ["hold", "ask", &offer, "--count", "10", "--value", "1.5", "--json"];
    let hold = taker.run(&ask).json()["hold"]["hold"].as_str().unwrap().to_owned();
    giver.run(&["hold", "agree", &hold, "--yes"]).done();
    let given = giver.run(&["handover", "give", &hold, "--given", "10", "--yes", "--json"]).json();
    let hand_over = given["hold"]["hand_over"]["hand_over"].as_str().unwrap().to_owned();
    // The server's clock says until when a claim is made, so what arrived arrived today.
    let today = chrono::Utc::now().format("%Y-%m-%d").to_string();
    let words = ["handover", "receive", &hand_over, "--received", "10", "--on", &today, "--yes"];
    taker.run(&words).done();
    hand_over
}

fn claimed(taker: &Device, hand_over: &str, count: &str) -> String {
    let words = ["claim", "make", hand_over, "--kind", "condition", "--count", count, "--json"];
    let made: Value = taker.run(&words).json();
    assert_eq!(made["claim"]["state"], "open", "{made}");
    made["claim"]["claim"].as_str().unwrap().to_owned()
}

/// A picture as another program writes it: Python's zlib and struct after RFC 2083.
fn picture() -> Vec<u8> {
    let script = r"
import struct, sys, zlib
def part(kind, data):
    sum = zlib.crc32(kind + data)
    return struct.pack('>I', len(data)) + kind + data + struct.pack('>I', sum)
rows = b''.join(bytes([0] + [120, 80, 40] * 60) for _ in range(40))
sys.stdout.buffer.write(b'\x89PNG\r\n\x1a\n'
    + part(b'IHDR', struct.pack('>IIBBBBB', 60, 40, 8, 2, 0, 0, 0))
    + part(b'IDAT', zlib.compress(rows)) + part(b'IEND', b''))
";
    let made = std::process::Command::new("python3").args(["-c", script]).output().unwrap();
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    made.stdout
}

on_both! {
    fn a_claim_is_granted_or_decided_and_comes_back_in_the_owed_book(kind: Kind) {
        let network = Network::on(kind);
        let (giver, taker) = (network.farm("Ashlode"), network.farm("Brindle"));
        let hand_over = passed(&giver, &taker);
        assert_eq!(owed(&taker, "Ashlode"), 150);
        let first = claimed(&taker, &hand_over, "2");
        assert!(giver.run(&["messages"]).done().contains("Brindle claims on 2 of 'Ember Lantern'"));
        let foreign = taker.run(&["claim", "grant", &first, "--yes"]).ends_with(3);
        assert!(foreign.contains("the giver"), "{foreign}");
        let granted = giver.run(&["claim", "grant", &first, "--why", "the frost night", "--yes"]).done();
        assert!(granted.contains("granted: 2 of 2 count"), "{granted}");
        assert_eq!(owed(&taker, "Ashlode"), 120);

        let second = claimed(&taker, &hand_over, "4");
        giver.run(&["claim", "dispute", &second, "--why", "firm when packed"]).done();
        let who = ["--server", network.server.url.as_str(), "--login", "coordinator"];
        let words = ["claim", "decide", &second, "--count", "1", "--why", "one was soft", "--yes"];
        let decided = giver.run(&[&words[..], &who].concat()).done();
        assert!(decided.contains("decided: 1 of 4 count") && decided.contains("one was soft"), "{decided}");
        assert_eq!(owed(&taker, "Ashlode"), 105);
        let listed = taker.run(&["claim", "list"]).done();
        assert!(listed.contains("decided: 1 of 4 count") && listed.contains("granted"), "{listed}");
        let more = ["claim", "make", &hand_over, "--kind", "no-eye", "--count", "8"];
        let refused = taker.run(&more).ends_with(3);
        assert!(refused.contains("10 arrived, 3 of them are claimed already"), "{refused}");
        let checked = network.server_says(&["check"]);
        assert_eq!(checked.exit, 0, "{}", checked.err);
    }

    fn photos_of_what_arrived_stand_beside_the_claim_for_both_farms(kind: Kind) {
        let network = Network::on(kind);
        let (giver, taker) = (network.farm("Ashlode"), network.farm("Brindle"));
        let hand_over = passed(&giver, &taker);
        let claim = claimed(&taker, &hand_over, "2");
        let folder = tempfile::tempdir().unwrap();
        let file = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
        std::fs::write(file("soft.png"), picture()).unwrap();
        std::fs::write(file("notes.txt"), "soft at the crown").unwrap();
        let refused = taker.run(&["photo", "add", "--claim", &claim, &file("notes.txt")]).ends_with(3);
        assert!(refused.contains("only JPEG and PNG"), "{refused}");
        let add = ["photo", "add", "--claim", &claim, &file("soft.png"), "--json"];
        let photo = taker.run(&add).json()["photo"]["photo"].as_str().unwrap().to_owned();
        assert_eq!(taker.run(&add).json()["photo"]["photo"], photo.as_str(), "sent again, there once");
        let listed = giver.run(&["photo", "list", "--claim", &claim, "--json"]).json();
        assert_eq!(listed["photos"].as_array().unwrap().len(), 1, "{listed}");
        giver.run(&["photo", "save", &photo, &file("as-it-came.jpg")]).done();
        let saved = std::fs::read(file("as-it-came.jpg")).unwrap();
        // A JPEG begins and ends with these markers (ITU-T T.81, table B.1).
        assert!(saved.starts_with(&[0xff, 0xd8]) && saved.ends_with(&[0xff, 0xd9]));
        giver.run(&["photo", "save", &photo, &file("as-it-came.jpg")]).ends_with(3);
        let kept = taker.run(&["photo", "remove", &photo]).ends_with(3);
        assert!(kept.contains("stays on record"), "{kept}");
    }
}
