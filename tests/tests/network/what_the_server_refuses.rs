//! Entries that the real server really refuses: set aside and shown, with what to do; what stands
//! behind them flows on, and they can be tried again.

use std::time::Duration;

use diesel::connection::SimpleConnection;
use diesel::sql_types::{BigInt, Text};
use diesel::{Connection, QueryResult, RunQueryDsl, SqliteConnection, sql_query};
use serde_json::Value;
use spareloop_cli::book::{Keep, StockBook};
use spareloop_domain::ledger::{Body, Draft, Entry};
use spareloop_domain::words::EntryId;
use spareloop_tests::farm::Device;
use spareloop_tests::network::{Network, id};

fn last_of(device: &Device, chain: &str) -> Entry {
    let of = |entry: &Value| entry["device"].as_str() == Some(chain);
    let last = device.entries().into_iter().rfind(of).expect("the chain has entries");
    serde_json::from_value(last).unwrap()
}

/// Puts an entry into the book that the program would never write, seals and all.
fn slip_in(device: &Device, entry: &Entry) {
    let mut book = StockBook::open(device.book(), Duration::from_secs(5)).unwrap();
    book.write(Keep::Kept, |connection| insert(connection, entry)).unwrap();
}

fn insert(connection: &mut SqliteConnection, entry: &Entry) -> QueryResult<usize> {
    sql_query(
        "INSERT INTO entries (id, device, seq, farm, at_millis, at_counter, on_day, kind, body, \
         prev, hash) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    )
    .bind::<Text, _>(entry.id.to_string())
    .bind::<Text, _>(entry.device.to_string())
    .bind::<BigInt, _>(i64::try_from(entry.seq.get()).unwrap())
    .bind::<Text, _>(entry.farm.to_string())
    .bind::<BigInt, _>(i64::try_from(entry.at.millis).unwrap())
    .bind::<BigInt, _>(i64::from(entry.at.counter))
    .bind::<Text, _>(entry.on.to_string())
    .bind::<Text, _>(&entry.kind)
    .bind::<Text, _>(entry.body.to_string())
    .bind::<Text, _>(entry.prev.to_string())
    .bind::<Text, _>(entry.hash.to_string())
    .execute(connection)
}

fn behind(last: &Entry, body: Body) -> Entry {
    let draft = Draft { id: EntryId::new(id()), on: last.on, body };
    Entry::seal(draft, last.farm, last.device, last.seq.next(), last.at, last.hash).unwrap()
}

#[test]
fn an_entry_that_no_server_keeps_is_set_aside_and_what_stands_behind_it_is_sent() {
    let network = Network::embedded();
    let farm = network.farm("Ashlode");
    let lot = farm.lot("Ember Lantern", 40);
    farm.sync();
    let before = farm.id();
    let odd = Body::Newer { kind: "k".repeat(65), body: serde_json::json!({"v": 7}) };
    slip_in(&farm, &behind(&last_of(&farm, &before), odd));
    farm.lose(&lot, 3);

    let refused = farm.run(&["sync"]);
    assert_eq!(refused.exit, 3, "{}\n{}", refused.out, refused.err);
    assert!(refused.out.contains("can't be kept"), "{}", refused.out);
    assert!(refused.out.contains("1 entry behind it go"), "{}", refused.out);
    assert!(refused.out.contains("spareloop sync parked"), "{}", refused.out);
    assert_ne!(farm.id(), before);
    let phone = network.another_device("Ashlode", "phone");
    assert_eq!(phone.in_store(&lot), 37, "what stood behind it is there");

    for words in [&["status"][..], &["log"], &["sync", "parked"]] {
        let shown = farm.run(words).done();
        assert!(shown.to_lowercase().contains("set aside") || shown.contains("Refused"), "{shown}");
    }
    let parked = farm.run(&["sync", "parked", "--json"]).json();
    assert_eq!(parked["parked"][0]["code"], "refused");
    let number = parked["parked"][0]["number"].to_string();
    let again = farm.run(&["sync", "retry", &number]).done();
    assert!(again.contains("1 entry noted again"), "{again}");
    // The server still can't keep it: it is set aside once more, under a new number.
    farm.lose(&lot, 1);
    assert_eq!(farm.run(&["sync"]).exit, 3);
    let parked = farm.run(&["sync", "parked", "--json"]).json();
    assert_eq!(parked["parked"].as_array().unwrap().len(), 1);
    assert_ne!(parked["parked"][0]["number"].to_string(), number);
    phone.sync();
    assert_eq!((phone.in_store(&lot), farm.in_store(&lot)), (36, 36));
    farm.run(&["sync", "retry", "99"]).ends_with(3);
}

#[test]
fn an_entry_forged_onto_the_house_chain_is_refused_and_can_be_noted_as_the_farms_own() {
    let network = Network::embedded();
    let (giver, taker) = (network.farm("Ashlode"), network.farm("Brindle"));
    let lot = giver.lot("Ember Lantern", 40);
    giver.sync();
    taker.sync();
    let offer = giver.offer(&lot, 5);
    let asked = taker.run(&["hold", "ask", &offer, "--count", "5", "--value", "1.0", "--json"]);
    let hold = asked.json()["hold"]["hold"].as_str().unwrap().to_owned();
    giver.run(&["hold", "agree", &hold, "--yes"]).done();
    giver.run(&["handover", "give", &hold, "--given", "5", "--yes"]).done();
    giver.sync();
    let house = giver.entries().into_iter().find(|entry| entry["kind"] == "send").unwrap();
    let chain = house["device"].as_str().unwrap();
    assert_ne!(chain, giver.id());

    let last = last_of(&giver, chain);
    let letter = Body::Newer { kind: "letter".to_owned(), body: serde_json::json!({"v": 7}) };
    let forged = behind(&last, letter);
    slip_in(&giver, &forged);
    let refused = giver.run(&["sync"]);
    assert_eq!(refused.exit, 3);
    assert!(refused.out.contains("Only the server writes"), "{}", refused.out);
    taker.sync();
    giver.run(&["sync", "retry"]).done();
    giver.sync();
    let noted = giver.entries().into_iter().find(|entry| entry["id"] == forged.id.to_string());
    assert_eq!(noted.expect("it stands again")["device"], giver.id());
}

#[test]
fn an_entry_that_a_failing_disk_changed_is_named_here_and_never_sent() {
    let network = Network::embedded();
    let farm = network.farm("Ashlode");
    let lot = farm.lot("Ember Lantern", 40);
    farm.sync();
    farm.lose(&lot, 2);
    farm.lose(&lot, 3);
    let changed =
        "UPDATE entries SET body = replace(body, '\"count\":2', '\"count\":9') WHERE kind = 'loss'";
    let mut book = SqliteConnection::establish(device_path(&farm)).unwrap();
    book.batch_execute(changed).unwrap();
    let named = farm.run(&["sync"]);
    assert_eq!(named.exit, 1);
    assert!(named.err.contains("damaged"), "{}", named.err);
    assert!(named.err.contains("spareloop backup restore"), "{}", named.err);
    let phone = network.another_device("Ashlode", "phone");
    assert_eq!(phone.in_store(&lot), 40, "nothing of the damaged book went out");
}

fn device_path(device: &Device) -> &str {
    device.book().to_str().unwrap()
}
