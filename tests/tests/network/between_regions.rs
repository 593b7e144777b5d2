//! Rules between regions with the real programs: set by a coordinator, met by a signed statement, and
//! both farms told to ask. And how far farms are from each other.

use spareloop_tests::network::Network;

#[test]
fn a_way_between_two_regions_asks_for_papers_and_tells_both_farms_to_ask_first() {
    let network = Network::embedded();
    let (giver, taker) = (network.farm("Ashlode"), network.farm("Brindle"));
    let lot = giver.lot("Ember Lantern", 20);
    let offer = giver.offer(&lot, 8);
    taker.run(&["want", "make", "Ember Lantern", "--count", "4"]).done();
    let as_coordinator = |words: &[&str]| {
        let who = ["--server", network.server.url.as_str(), "--login", "coordinator"];
        giver.run(&[words, &who].concat()).done()
    };
    for (farm, region) in [(&giver, "North shore"), (&taker, "Islands")] {
        let shown = farm.run(&["farm", "show", "--json"]).json();
        as_coordinator(&["movement", "region", shown["farm"].as_str().unwrap(), region]);
    }
    let rule = ["movement", "rule", "--from", "north shore", "--to", "islands", "--sets", "asks"];
    let note = ["--require", "movement-papers", "--note", "The islands' office knows the form"];
    let set = as_coordinator(&[&rule[..], &note].concat());
    assert!(set.contains("movement papers"), "{set}");

    let matched = taker.run(&["match"]).done();
    assert!(
        matched.contains("statement is missing") && matched.contains("movement papers"),
        "{matched}"
    );
    let ask = ["hold", "ask", &offer, "--count", "4", "--value", "1.0"];
    let refused = taker.run(&ask).ends_with(3);
    assert!(
        refused.contains("Between these regions") && refused.contains("movement papers"),
        "{refused}"
    );

    giver.run(&["attest", "key", "new"]).done();
    let papers = [
        "attest",
        "make",
        &lot,
        "--papers",
        "--authority",
        "Invented Plant Office",
        "--number",
        "IPO 7",
        "--where",
        "Islands",
        "--until",
        "2030-01-01",
        "--yes",
    ];
    giver.run(&papers).done();
    let matched = taker.run(&["match"]).done();
    assert!(
        matched.contains("has    4 divisions") && matched.contains("ask your own"),
        "{matched}"
    );
    let held = taker.run(&ask).done();
    assert!(held.contains("From North shore to Islands"), "{held}");
    for farm in [&giver, &taker] {
        let told = farm.run(&["messages"]).done();
        assert!(told.contains("ask your own plant health authority"), "{told}");
        assert!(told.contains("The islands' office knows the form"), "{told}");
    }
    let shown = taker.run(&["movement", "show"]).done();
    assert!(shown.contains("Islands") && shown.contains("nothing here says so"), "{shown}");
}

#[test]
fn a_want_of_what_is_near_is_matched_with_what_is_near_and_nobodys_place_is_told() {
    let network = Network::embedded();
    let (near, far) = (network.farm("Ashlode"), network.farm("Brindle"));
    let taker = network.farm("Cold Hallow");
    for giver in [&near, &far] {
        let lot = giver.lot("Ember Lantern", 20);
        giver.run(&["offer", "make", &lot, "--count", "8"]).done();
    }
    let want = ["want", "make", "Ember Lantern", "--count", "4", "--within", "60"];
    let refused = taker.run(&want).ends_with(3);
    assert!(refused.contains("Say first where your farm roughly is"), "{refused}");
    taker.run(&["distance", "from", "91", "0"]).ends_with(2);
    for (farm, latitude) in [(&near, "52.5"), (&far, "54.2"), (&taker, "52.013")] {
        let said = farm.run(&["distance", "from", latitude, "-4.05"]).done();
        assert!(said.contains("no other farm is shown that"), "{said}");
    }
    taker.run(&want).done();
    let matched = taker.run(&["match"]).done();
    assert!(matched.contains("Ashlode") && matched.contains("56 km"), "{matched}");
    assert!(!matched.contains("Brindle"), "{matched}");
    let shown = taker.run(&["distance", "show"]).done();
    assert!(shown.contains("Your farm is at 52.00 -4.05"), "{shown}");
    assert!(shown.contains("245 km") && !shown.contains("54.2"), "{shown}");
    far.run(&["distance", "forget"]).done();
    let shown = taker.run(&["distance", "show"]).done();
    assert!(shown.contains("not known"), "{shown}");
}
