//! A sync of nothing costs one question, however long the ledger is: bytes and requests are counted
//! on the line.

use spareloop_tests::farm::Device;
use spareloop_tests::network::Network;
use spareloop_tests::tap::{Heard, Tap};

fn quiet(tap: &Tap, device: &Device) -> Heard {
    drop(tap.take());
    let done = device.sync();
    assert_eq!((&done["sent"], &done["fetched"]), (&0.into(), &0.into()));
    tap.take()
}

#[test]
fn a_sync_of_nothing_asks_one_question_whose_answer_grows_with_devices_and_not_with_entries() {
    let network = Network::embedded();
    let tap = Tap::on(&network.server.address());
    let farm = network.farm("Ashlode");
    farm.run(&["farm", "connect", "--server", &tap.url]).done();
    farm.lot("Ember Lantern", 40);
    farm.sync();
    let small = quiet(&tap, &farm);
    assert_eq!(small.requests, ["GET /api/v1/ledger/summary"]);

    let mut rows = "variety,count,lot\n".to_owned();
    rows.extend((0..600).map(|row| format!("Moss Anthem,5,L{row}\n")));
    let file = farm.file("stock.csv", &rows);
    farm.run(&["import", "stock", &file, "--yes"]).done();
    drop(tap.take());
    assert!(farm.sync()["sent"].as_u64().unwrap() > 600);
    let sent = tap.take();
    let pushes = sent.requests.iter().filter(|one| one.starts_with("POST ")).count();
    assert_eq!(
        (pushes, sent.requests.len() - pushes),
        (2, 2),
        "a summary, pushes, what is promised"
    );
    let fetched = |one: &&String| one.starts_with("GET /api/v1/ledger/entries");
    assert_eq!(sent.requests.iter().find(fetched), None, "what was sent isn't fetched back");

    let large = quiet(&tap, &farm);
    assert_eq!(large.requests, ["GET /api/v1/ledger/summary"]);
    println!(
        "quiet sync: {} bytes with 2 entries, {} with 602; the first sync of 600 took {} up, {} down",
        small.up + small.down,
        large.up + large.down,
        sent.up,
        sent.down
    );
    // A few digits of a position and of a place.
    assert!((large.up + large.down).abs_diff(small.up + small.down) <= 64, "{small:?} {large:?}");

    let phone = network.another_device("Ashlode", "phone");
    phone.run(&["variety", "add", "Salt Parlour"]).done();
    phone.sync();
    farm.sync();
    let two = quiet(&tap, &farm);
    assert_eq!(two.requests.len(), 1);
    assert!(two.down < large.down + 300, "a line for the other device: {large:?} {two:?}");
}

#[test]
fn what_is_promised_is_asked_for_again_only_when_it_changed() {
    let network = Network::embedded();
    let tap = Tap::on(&network.server.address());
    let (giver, taker) = (network.farm("Ashlode"), network.farm("Brindle"));
    giver.run(&["farm", "connect", "--server", &tap.url]).done();
    let lot = giver.lot("Ember Lantern", 40);
    giver.sync();
    let made = giver.run(&["offer", "make", &lot, "--count", "8", "--json"]).json();
    giver.sync();
    assert_eq!(quiet(&tap, &giver).requests.len(), 1);
    // Promised or offered, the units are the same; a part of them is let go.
    let offer = made["offer"]["offer"].as_str().unwrap();
    let network_says = network.person("ashlode");
    let key = spareloop_tests::network::key();
    network_says.withdraw_offer(&key, offer.parse().unwrap()).unwrap();
    let news = quiet(&tap, &giver).requests;
    assert!(news.iter().any(|one| one.ends_with("/stock")), "{news:?}");
    assert_eq!(quiet(&tap, &giver).requests.len(), 1);
    drop(taker);
}
