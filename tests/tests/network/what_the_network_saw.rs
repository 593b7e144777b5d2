//! What the other farms of a network saw reaches a farm by a sync, holds without a network, and shows
//! nobody's lots.

use std::fmt::Write as _;

use serde_json::Value;
use spareloop_tests::database::Kind;
use spareloop_tests::farm::Device;
use spareloop_tests::network::Network;

const VARIETIES: [&str; 6] =
    ["Ember Lantern", "Moss Anthem", "Salt Parlour", "Quill Harrow", "Tansy Vane", "Fennel Spire"];

/// A farm of the network with fifteen lots in two packings, each looked at twice; every third one
/// loses some.
fn farm(network: &Network, name: &str, more: &str) -> Device {
    let farm = network.farm(name);
    let mut stock = "variety,count,unit,lot,packing,stored\n".to_owned();
    let mut checks = "lot,date,inspected,sound,rot\n".to_owned();
    for at in 0..15_usize {
        let variety = VARIETIES[at % 6];
        let packing = ["vermiculite", "peat"][at % 2];
        let lost = [0, 1, 4][(at + name.len()) % 3];
        writeln!(stock, "{variety},40,division,{name}{at},{packing},2025-11-10").unwrap();
        writeln!(checks, "{name}{at},2025-12-10,40,{},{lost}", 40 - lost).unwrap();
        let (before, after) = (40 - lost, 40 - 2 * lost);
        writeln!(checks, "{name}{at},2026-01-20,{before},{after},{lost}").unwrap();
    }
    stock += more;
    let (stock, checks) = (farm.file("stock.csv", &stock), farm.file("checks.csv", &checks));
    farm.run(&["import", "stock", &stock, "--yes"]).done();
    farm.run(&["import", "checks", &checks, "--yes"]).done();
    farm.sync();
    farm
}

fn sentence(farm: &Device, variety: &str) -> String {
    let told = farm.run(&["forecast", variety, "--json"]).json();
    told["kinds"][0]["sentence"].as_str().unwrap().to_owned()
}

fn summary(network: &Network, farm: &str) -> (Option<String>, String) {
    let view = network.person(farm).network_summary().unwrap();
    (view.mark, view.summary.map_or_else(String::new, |told| told.text().unwrap()))
}

fn what_others_saw_reaches_a_farm_and_stays_with_it(kind: Kind) {
    let mut network = Network::on(kind);
    let ashlode = farm(&network, "Ashlode", "Secret Glow,30,division,secret,sand,2025-11-10\n");
    let plan = ["plan", "set", "Ember Lantern", "--plants", "40", "--planting", "2026-05-10"];
    ashlode.run(&plan).done();
    let others: Vec<Device> = ["Brindle", "Corrie", "Dunnock", "Ellwick", "Farrow"]
        .into_iter()
        .map(|name| farm(&network, name, ""))
        .collect();
    let before = sentence(&ashlode, "Ember Lantern");
    assert!(before.contains("a first-season guess"), "{before}");
    assert_eq!(summary(&network, "ashlode").0, None);

    let said = network.server_says(&["together"]);
    assert_eq!(said.exit, 0, "{}", said.err);
    ashlode.sync();
    let after = sentence(&ashlode, "Ember Lantern");
    assert!(after.contains("what 5 farms of the network saw of 75 lots"), "{after}");

    // The server's own page says the same, to the letter.
    let stock = network.person("ashlode").stock().unwrap();
    let line = stock.lines.iter().find(|line| line.variety == "Ember Lantern").unwrap();
    assert_eq!(line.sentence, after);

    // Each is told of the others only, and nothing of a variety that one farm holds.
    for name in ["ashlode", "brindle", "corrie", "dunnock", "ellwick", "farrow"] {
        let (mark, told) = summary(&network, name);
        assert!(mark.is_some());
        for hidden in ["secretglow", "Secret", "sand", "ashlode", "brindle"] {
            assert!(!told.contains(hidden), "{name} is told of {hidden}");
        }
        for variety in ["emberlantern", "fennelspire"] {
            assert!(told.contains(variety), "{name} isn't told of {variety}");
        }
    }

    // Without a network it stays.
    network.server.kill();
    assert_eq!(sentence(&ashlode, "Ember Lantern"), after);
    let why = ashlode.run(&["forecast", "why", "Ember Lantern", "--json"]).json();
    let steps = &why["kinds"][0]["lots"][0]["steps"];
    assert_eq!(steps.as_array().unwrap().len(), 5);
    let sum: f64 =
        steps.as_array().unwrap().iter().map(|step| step["adds"].as_f64().unwrap()).sum();
    let mean = why["kinds"][0]["lots"][0]["log_hazard_mean"].as_f64().unwrap();
    assert!((sum - mean).abs() < 1e-9);
    assert_eq!(why["kinds"][0]["lots"][0]["ground"]["farms"], 5);
    drop(others);
}

#[test]
fn what_others_saw_reaches_a_farm_and_stays_with_it_on_the_embedded_database() {
    what_others_saw_reaches_a_farm_and_stays_with_it(Kind::Sqlite);
}

#[test]
fn what_others_saw_reaches_a_farm_and_stays_with_it_on_postgresql() {
    what_others_saw_reaches_a_farm_and_stays_with_it(Kind::Postgresql);
}

#[test]
fn a_network_of_few_farms_tells_none_of_them_anything() {
    let network = Network::embedded();
    let farms = ["Ashlode", "Brindle", "Corrie"].map(|name| farm(&network, name, ""));
    assert_eq!(network.server_says(&["together"]).exit, 0);
    farms[0].sync();
    assert!(sentence(&farms[0], "Ember Lantern").contains("a first-season guess"));
    assert_eq!(summary(&network, "ashlode").0, None);
}

#[test]
fn ways_of_keeping_stock_and_curves_are_told_from_the_book() {
    let network = Network::embedded();
    let farm = farm(&network, "Ashlode", "");
    let works = farm.run(&["forecast", "works", "packing", "--json"]).json();
    let compared = &works["ways"][0]["compared"][0];
    assert_eq!(compared["between"], serde_json::json!(["vermiculite", "peat"]));
    assert!(compared["sentence"].as_str().unwrap().contains("never"), "{compared}");
    assert_eq!(compared["difference"], Value::Null);

    let curve = farm.run(&["forecast", "curve", "--packing", "peat", "--json"]).json();
    assert_eq!(curve["lots"], 7);
    assert_eq!(curve["units"], 280);
    let alive = |curve: &Value| {
        let points = curve["points"].as_array().unwrap().clone();
        points.last().unwrap()["alive"].as_f64().unwrap()
    };
    // Nothing left alive, so the last point is what was lost over what there was.
    let lost = curve["lost"].as_f64().unwrap();
    assert!((alive(&curve) - (1.0 - lost / 280.0)).abs() < 1e-6, "{curve}");
    let found =
        farm.run(&["forecast", "curve", "--packing", "peat", "--as-found", "--json"]).json();
    assert!((alive(&found) - alive(&curve)).abs() < 1e-6);

    let report = ["forecast", "calibrate", "--lots", "50", "--winters", "1", "--json"];
    let report = farm.run(&report).json();
    assert_eq!(report["scores"].as_array().unwrap().len(), 8);
    let refused = farm.run(&["forecast", "works", "packing", "--between", "peat", "--and", "pea"]);
    assert_eq!(refused.exit, 3, "{}", refused.err);
}
