//! The whole job with the real programs, on both databases: from a spreadsheet to a received parcel.

use diesel::sql_types::Text;
use diesel::{Connection, QueryableByName, RunQueryDsl, SqliteConnection, sql_query};
use serde_json::Value;
use spareloop_api::client::ActKey;
use spareloop_tests::farm::Device;
use spareloop_tests::network::Network;
use spareloop_tests::on_both;

// Invented sheets, as a grower would have them.
const LIFTED: &str = "\
variety,clumps,date,lot,bed
Ember Lantern,10,2025-10-27,E-CLUMPS,bed 2
";
const BENCH: &str = "\
date,session,from lot,clumps,lot,sound,eyes,rot,no eye,tools between clumps,tool dip,tool dip minutes,packing,place
2025-11-03,S-1103,E-CLUMPS,10,E1,42,eyed,2,3,disinfected,dip as on its label,2,shavings,cellar / shelf 1
";
const CHECKS: &str = "\
lot,date,look,scope,inspected,sound,rot
E1,2025-12-01,unpacked,whole,42,41,1
E1,2026-01-15,unpacked,whole,41,40,1
E1,2026-03-10,unpacked,whole,40,40,0
";
const GIVER_PLAN: &str = "\
variety,unit,plants wanted,planting day
Ember Lantern,division,12,2026-05-10
Moss Anthem,division,6,2026-05-10
";
const TAKER_STOCK: &str = "\
variety,unit,count,stored on,packing,place,lot
Moss Anthem,division,30,2025-11-05,vermiculite,old dairy / shelf 3,M1
";
const TAKER_CHECKS: &str = "\
lot,date,look,scope,inspected,sound,rot
M1,2026-01-20,unpacked,whole,30,29,1
";
const TAKER_PLAN: &str = "\
variety,unit,plants wanted,planting day
Ember Lantern,division,8,2026-05-10
Moss Anthem,division,5,2026-05-10
";

#[track_caller]
fn import(device: &Device, kind: &str, content: &str) {
    let file = device.file(&format!("{kind}.csv"), content);
    device.run(&["import", kind, &file, "--yes"]).done();
    let before = device.entries();
    let again = device.run(&["import", kind, &file, "--yes"]).done();
    assert!(again.contains("0 new"), "{again}");
    assert_eq!(device.entries(), before, "a second import adds nothing");
}

fn lot_code(device: &Device, variety: &str) -> String {
    let lots = device.run(&["lot", "list", "--variety", variety, "--json"]).json();
    lots["lots"][0]["code"].as_str().unwrap().to_owned()
}

fn text(value: &Value, path: &str) -> String {
    let found = value.pointer(path).unwrap_or_else(|| panic!("no {path} in {value}"));
    found.as_str().map_or_else(|| found.to_string(), ToOwned::to_owned)
}

/// One parcel, from asking to the receipt; answers the hold at the end.
fn pass(
    giver: &Device,
    taker: &Device,
    offer: &str,
    want: &str,
    given: u32,
    received: u32,
) -> Value {
    let (given, received) = (given.to_string(), received.to_string());
    let words = ["hold", "ask", offer, "--count", &given, "--want", want, "--value", "1.2"];
    let asked = taker.run(&[&words[..], &["--json"]].concat()).json();
    assert_eq!(asked["hold"]["state"], "held");
    let id = text(&asked, "/hold/hold");
    let agreed = giver.run(&["hold", "agree", &id, "--yes", "--json"]).json();
    assert_eq!(agreed["hold"]["state"], "agreed");
    let words = ["handover", "give", &id, "--given", &given, "--condition", "firm, in shavings"];
    let handed = giver.run(&[&words[..], &["--yes", "--json"]].concat()).json();
    assert_eq!(handed["hold"]["state"], "handed-over");
    let hand_over = text(&handed, "/hold/hand_over/hand_over");
    let words = ["handover", "receive", &hand_over, "--received", &received, "--yes", "--json"];
    taker.run(&words).json()["hold"].clone()
}

fn says(device: &Device, kind: &str) -> Vec<String> {
    let log = device.run(&["log", "--all", "--json"]).json();
    let entries = log["entries"].as_array().unwrap().iter();
    entries.filter(|entry| entry["kind"] == kind).map(|entry| text(entry, "/says")).collect()
}

fn told(device: &Device) -> String {
    device.run(&["messages"]).done()
}

#[derive(QueryableByName)]
struct KeptAct {
    #[diesel(sql_type = Text)]
    id: String,
    #[diesel(sql_type = Text)]
    path: String,
    #[diesel(sql_type = Text)]
    body: String,
    #[diesel(sql_type = Text)]
    answer: String,
}

/// The acts that a device stored before it sent them, with what they were answered.
fn kept_acts(device: &Device) -> Vec<KeptAct> {
    let mut book = SqliteConnection::establish(device.book().to_str().unwrap()).unwrap();
    sql_query("SELECT id, path, body, answer FROM acts WHERE state = 'done' ORDER BY made_at")
        .load(&mut book)
        .unwrap()
}

/// Everything that the two farms can see of what passed between them.
fn what_stands(devices: [&Device; 2]) -> Vec<String> {
    let mut seen = Vec::new();
    for device in devices {
        device.sync();
        seen.push(device.run(&["export"]).done());
        for words in [["hold", "list"], ["offer", "list"], ["want", "list"]] {
            seen.push(device.run(&[&words[..], &["--json"]].concat()).done());
        }
        seen.push(device.run(&["owed", "--json"]).done());
        seen.push(device.run(&["messages", "--json"]).done());
    }
    seen
}

/// Every act sent again under its own key, as after an answer that was lost.
fn send_all_again(network: &Network, login: &str, device: &Device) -> usize {
    let person = network.person(login);
    let acts = kept_acts(device);
    for act in &acts {
        let body: Value = serde_json::from_str(&act.body).unwrap();
        let again = person.act_as_stored(&act.path, &ActKey(act.id.clone()), &body).unwrap();
        let first: Value = serde_json::from_str(&act.answer).unwrap();
        assert_eq!(again, first, "{} {}", act.path, act.body);
    }
    acts.len()
}

on_both! {
    fn from_a_spreadsheet_to_a_received_parcel_each_way(kind: Kind) {
        let network = Network::on(kind);
        let giver = Device::of_a_farm(&network.folder().join("ashlode"), "Ashlode");
        for (kind, sheet) in
            [("lifted", LIFTED), ("bench", BENCH), ("checks", CHECKS), ("plan", GIVER_PLAN)]
        {
            import(&giver, kind, sheet);
        }
        let taker = Device::of_a_farm(&network.folder().join("brindle"), "Brindle");
        for (kind, sheet) in [("stock", TAKER_STOCK), ("checks", TAKER_CHECKS), ("plan", TAKER_PLAN)] {
            import(&taker, kind, sheet);
        }
        network.connect(&giver, "Ashlode");
        network.connect(&taker, "Brindle");
        giver.sync();
        taker.sync();

        let (embers, moss) = (lot_code(&giver, "Ember Lantern"), lot_code(&taker, "Moss Anthem"));
        let made = giver.run(&["offer", "make", &embers, "--count", "10", "--least", "2", "--json"]).json();
        let history = text(&made, "/offer/history/sentence");
        for figure in ["Began with 42", "looked at 3 times", "last on 10 March", "40 in store"] {
            assert!(history.contains(figure), "{figure}: {history}");
        }
        let hygiene = text(&made, "/offer/hygiene/sentence").to_lowercase();
        assert!(hygiene.contains("tools disinfected between clumps"), "{hygiene}");
        taker.run(&["offer", "make", &moss, "--count", "9", "--json"]).json();
        taker.run(&["want", "make", "ember lantern", "--count", "8"]).done();
        giver.run(&["want", "make", "Moss Anthem", "--count", "6"]).done();

        // Each has what the other lacks, and sees it from its own side.
        let matches = taker.run(&["match", "--json"]).json();
        assert_eq!(text(&matches, "/matches/0/farm/name"), "Ashlode");
        assert_eq!(matches["matches"][0]["they_have"][0]["count"], 8);
        assert_eq!(matches["matches"][0]["they_lack"][0]["count"], 6);
        let theirs = giver.run(&["match", "--json"]).json();
        assert_eq!(theirs["matches"][0]["they_have"][0]["count"], 6);

        let line = |value: &Value, side: &str| {
            (
                text(value, &format!("/matches/0/{side}/0/offer")),
                text(value, &format!("/matches/0/{side}/0/want")),
            )
        };
        let (offer, want) = line(&matches, "they_have");
        let (back_offer, back_want) = line(&matches, "they_lack");
        // One of eight breaks on the way.
        let there = pass(&giver, &taker, &offer, &want, 8, 7);
        let back = pass(&taker, &giver, &back_offer, &back_want, 6, 6);
        for hold in [&there, &back] {
            assert_eq!(hold["state"], "received");
            let life: Vec<String> = hold["steps"].as_array().unwrap().iter().map(|step| text(step, "/state")).collect();
            assert_eq!(life, ["held", "agreed", "handed-over", "received"]);
        }
        giver.sync();
        taker.sync();

        // Both ledgers hold each passing once, with each side's own count.
        for (device, sent, received) in [(&giver, "8", "6"), (&taker, "6", "7")] {
            for (kind, verb, count) in [("send", "sent", sent), ("receive", "received", received)] {
                let says = says(device, kind);
                assert_eq!(says.len(), 1, "{kind}: {says:?}");
                assert!(says[0].contains(&format!("{verb} {count} divisions")), "{says:?}");
            }
        }
        assert_eq!(giver.in_store(&embers), 32);
        assert_eq!(taker.in_store(&moss), 23);
        assert_eq!(taker.in_store(&lot_code(&taker, "Ember Lantern")), 7);
        assert_eq!(giver.in_store(&lot_code(&giver, "Moss Anthem")), 6);

        // 7 received at 1.2 one way, 6 at 1.2 the other.
        let owed = taker.run(&["owed", "--json"]).json();
        let balance = |name: &str| {
            let all = owed["balances"].as_array().unwrap();
            all.iter().find(|it| it["farm"]["name"] == name).unwrap()["owed_tenths"].as_i64().unwrap()
        };
        assert_eq!((balance("Ashlode"), balance("Brindle")), (84 - 72, 72 - 84));
        assert_eq!(owed["postings"].as_array().unwrap().len(), 2);

        let (to_giver, to_taker) = (told(&giver), told(&taker));
        assert!(to_giver.contains("Brindle received 7"), "{to_giver}");
        assert!(to_giver.contains("You gave 8"), "the difference is said: {to_giver}");
        assert!(to_taker.contains("handed 8 of 'Ember Lantern' over to you"), "{to_taker}");

        // Each act sent once more, as by a client that missed the answer, changes nothing at all.
        let before = what_stands([&giver, &taker]);
        let again = send_all_again(&network, "ashlode", &giver) + send_all_again(&network, "brindle", &taker);
        assert_eq!(again, 4 + 2 + 6, "offers and wants, asked, agreed, given, received");
        assert_eq!(what_stands([&giver, &taker]), before);
    }
}
