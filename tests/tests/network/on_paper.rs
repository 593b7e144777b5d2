//! A farm that keeps its books on paper takes part: the coordinator keeps a book for it, offers and hands
//! over in its name with its consent, and no more once it takes that back.

use spareloop_tests::farm::Device;
use spareloop_tests::network::{Network, key};

#[test]
fn a_coordinator_keeps_the_book_of_a_farm_on_paper_and_acts_for_it_until_it_says_no() {
    let network = Network::embedded();
    let taker = network.farm("Brindle");
    let paper = Device::of_a_farm(&network.folder().join("fen-end"), "Fen End");
    let url = network.server.url.as_str();
    let connect = ["farm", "connect", "--server", url, "--login", "coordinator", "--on-paper"];
    let unknown = paper.run(&connect);
    assert_ne!(unknown.exit, 0, "nobody consented yet: {}", unknown.err);
    let consent = ["--consent-by", "Ada Fen", "--consent-how", "a signed note"];
    let connected = paper.run(&[&connect[..], &consent].concat()).done();
    assert!(connected.contains("Next: spareloop sync"), "{connected}");

    let lot = paper.lot("Ember Lantern", 20);
    let offer = paper.run(&["offer", "make", &lot, "--count", "8", "--json"]).json();
    let offer = offer["offer"]["offer"].as_str().unwrap();
    let sheet = taker.run(&["offer", "list"]).done();
    assert!(sheet.contains("Fen End (on paper)"), "{sheet}");
    let ask = ["hold", "ask", offer, "--count", "5", "--value", "1.0", "--json"];
    let asked = taker.run(&ask).json();
    let hold = asked["hold"]["hold"].as_str().unwrap();
    paper.run(&["hold", "agree", hold, "--yes"]).done();
    paper.run(&["handover", "give", hold, "--given", "5", "--yes"]).done();
    paper.sync();
    assert_eq!(paper.in_store(&lot), 15);

    // The coordinator's telephone keeps the book too.
    let phone = Device::in_folder(&network.folder().join("phone"));
    let join = ["farm", "join", "--server", url, "--login", "coordinator", "--device", "phone"];
    let nobody = phone.run(&[&join[..], &["--on-paper", "Sedge"]].concat()).ends_with(3);
    assert!(nobody.contains("Fen End (on paper)"), "it says which there are: {nobody}");
    phone.run(&[&join[..], &["--on-paper", "fen end"]].concat()).done();
    assert_eq!(phone.in_store(&lot), 15);
    phone.run(&["lot", "list"]).done();

    let farms = network.coordinator.farms_on_paper().unwrap();
    assert_eq!((farms.len(), farms[0].consent_by.as_str()), (1, "Ada Fen"));
    let why = spareloop_api::exchange::Reason { why: "gives up dahlias".to_owned() };
    network.coordinator.end_consent(&key(), farms[0].farm.id, &why).unwrap();
    for words in [&["sync"][..], &["offer", "list"], &connect] {
        let refused = paper.run(words);
        assert_ne!(refused.exit, 0, "{words:?}: {}", refused.out);
    }
    let kept = paper.run(&["lot", "list"]).done();
    assert!(kept.contains("15"), "its book is still here: {kept}");
}
