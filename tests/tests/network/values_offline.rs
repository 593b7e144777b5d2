//! What a unit is worth: two farms without a network reckon what the server reckons.

use serde_json::{Value, json};
use spareloop_tests::farm::Device;
use spareloop_tests::network::Network;
use spareloop_tests::on_both;

fn offer(device: &Device, lot: &str, count: u32) {
    let count = count.to_string();
    device.run(&["offer", "make", lot, "--count", &count, "--yes"]).done();
}

fn want(device: &Device, variety: &str, count: u32, instead: &[&str]) {
    let count = count.to_string();
    let mut words = vec!["want", "make", variety, "--count", &count, "--yes"];
    for other in instead {
        words.extend(["--instead", other]);
    }
    device.run(&words).done();
}

fn values_reckoned_apart_are_the_same(mut network: Network) {
    let alder = network.farm("Alder");
    let birch = network.farm("Birch");
    assert!(alder.run(&["value", "show"]).ends_with(3).contains("spareloop sync"));
    let ember = alder.lot("Ember Lantern", 30);
    alder.lot("Kept Quiet", 9);
    let moss = birch.lot("Moss Anthem", 30);
    for (lot, device) in [(&ember, &alder), (&moss, &birch)] {
        let look = ["check", "add", lot, "--inspected", "30", "--sound", "28", "--rot", "2"];
        device.run(&[&look[..], &["--on", "2026-03-01"]].concat()).done();
        device.sync();
    }
    offer(&alder, &ember, 8);
    offer(&birch, &moss, 12);
    want(&birch, "Ember Lantern", 14, &[]);
    want(&alder, "Moss Anthem", 4, &["Zindle Ember"]);
    alder.sync();
    birch.sync();
    let served = network.person("alder").values().unwrap();
    assert_eq!(served, network.person("birch").values().unwrap(), "whoever asks");
    let market = json!(served.market).to_string();
    for kept in ["Kept Quiet", "Alder", "Birch"] {
        assert!(!market.contains(kept), "{kept} in {market}");
    }
    network.server.kill();

    for device in [&alder, &birch] {
        let shown = device.run(&["value", "show", "--json"]).json();
        assert_eq!(shown["mark"], json!(served.mark));
        assert_eq!(shown["values"], json!(served.values));
    }
    let line = |variety: &str| served.values.iter().find(|one| one.variety == variety).unwrap();
    let (ember, moss) = (line("Ember Lantern"), line("Moss Anthem"));
    // 14 are wanted against 8, nothing else would do; 4 are wanted against 12.
    assert!(ember.chance_short > 0.9 && ember.value > moss.value, "{ember:?} {moss:?}");
    assert!(moss.chance_short < 0.1 && line("Zindle Ember").offered == 0);
    let text = birch.run(&["value", "show", "ember lantern"]).done();
    assert!(
        text.contains("14 are wanted, none accepting another variety, against 8 to spare"),
        "{text}"
    );
    let explained = birch.run(&["value", "explain", "Ember Lantern", "--json"]).json();
    assert_eq!(explained["explained"][0]["value"], json!(ember));
    let steps = explained["explained"][0]["steps"].as_array().unwrap();
    assert!(steps.iter().any(|step| step["about"] == "in store"), "{steps:?}");
    let lots = alder.run(&["value", "explain", "Ember Lantern", "--json"]).json();
    let lot = &lots["explained"][0]["lots"][0];
    assert!(lot["lot"].is_string() && lot["tenths"].as_i64().unwrap() > 0, "{lot}");
    let own = alder.run(&["value", "explain", "Kept Quiet"]).done();
    assert!(own.contains("Nobody offers or wants it"), "{own}");
    let slip = alder.run(&["value", "explain", "Ember Lantren"]).ends_with(3);
    assert!(slip.contains("Ember Lantern"), "{slip}");

    let history = alder.run(&["value", "history", "Ember Lantern", "--json"]).json();
    let days = history["days"].as_array().unwrap();
    assert_eq!(days.last().unwrap()["value"]["value"], json!(ember.value));
}

on_both! {
    fn two_farms_without_a_network_reckon_what_the_server_reckons(kind: Kind) {
        values_reckoned_apart_are_the_same(Network::on(kind));
    }
}

fn mark(device: &Device) -> Value {
    device.run(&["value", "show", "--json"]).json()["mark"].clone()
}

#[test]
fn a_sync_brings_news_of_the_market_only_when_there_is_some() {
    let network = Network::embedded();
    let (alder, birch) = (network.farm("Alder"), network.farm("Birch"));
    let moss = birch.lot("Moss Anthem", 30);
    birch.sync();
    offer(&birch, &moss, 12);
    alder.sync();
    let before = mark(&alder);
    alder.sync();
    assert_eq!(mark(&alder), before);
    want(&birch, "Ember Lantern", 3, &[]);
    alder.sync();
    assert_ne!(mark(&alder), before);
    let shown = alder.run(&["value", "show", "Ember Lantern"]).done();
    assert!(shown.contains("against none to spare"), "{shown}");
}
