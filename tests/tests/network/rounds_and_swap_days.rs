//! Rounds with the real programs, on both databases: asked for, solved by a server, answered by farms,
//! handed over; a swap day settled without those who don't come.

use std::time::{Duration, Instant};

use serde_json::Value;
use spareloop_tests::database::Kind;
use spareloop_tests::farm::Device;
use spareloop_tests::network::Network;
use spareloop_tests::on_both;

const NAMES: [&str; 3] = ["Ashlode", "Brindle", "Corrow"];
const VARIETIES: [&str; 3] = ["Ember Lantern", "Moss Anthem", "Tin Orchard"];
/// The server works by itself; a machine that is busy may take its time.
const PATIENCE: Duration = Duration::from_mins(2);

/// Three farms, each with 20 divisions of what the next one lacks.
fn three_farms(network: &Network) -> Vec<Device> {
    let farms: Vec<Device> = NAMES
        .iter()
        .zip(VARIETIES)
        .map(|(name, variety)| {
            let device = network.farm(name);
            let lot = device.lot(variety, 20);
            device.sync();
            device.run(&["offer", "make", &lot, "--count", "10", "--least", "2"]).done();
            device
        })
        .collect();
    for (at, variety) in VARIETIES.iter().enumerate() {
        farms[(at + 1) % 3].run(&["want", "make", variety, "--count", "6"]).done();
    }
    farms
}

fn as_coordinator<'a>(network: &'a Network, words: &[&'a str]) -> Vec<&'a str> {
    let who = ["--server", network.server.url.as_str(), "--login", "coordinator", "--json"];
    [words, &who].concat()
}

/// Makes a round, and waits until it has proposed; answers the round.
#[track_caller]
fn proposed(network: &Network, desk: &Device, words: &[&str]) -> Value {
    let words = [&["round", "make", "--seconds", "5"], words].concat();
    let made = desk.run(&as_coordinator(network, &words)).json();
    let round = made["round"]["round"].as_str().unwrap().to_owned();
    solved(network, &round)
}

#[track_caller]
fn solved(network: &Network, round: &str) -> Value {
    let begun = Instant::now();
    loop {
        // By the interface: a command signs in each time, and too many sign-ins have to wait.
        let shown = network.coordinator.round(round.parse().unwrap()).unwrap();
        let shown = serde_json::to_value(shown).unwrap();
        match shown["state"].as_str().unwrap() {
            "asked" | "solving" => assert!(begun.elapsed() < PATIENCE, "{shown}"),
            _ => return shown,
        }
        std::thread::sleep(Duration::from_millis(200));
    }
}

fn id(proposal: &Value) -> String {
    proposal["proposal"].as_str().unwrap().to_owned()
}

fn holds(device: &Device) -> Vec<Value> {
    device.run(&["hold", "list", "--json"]).json()["holds"].as_array().unwrap().clone()
}

fn state(network: &Network, proposal: &str) -> String {
    network.coordinator.proposal(proposal.parse().unwrap()).unwrap().state
}

on_both! {
    fn a_loop_is_proposed_declined_proposed_again_accepted_and_handed_over(kind: Kind) {
        let network = Network::on(kind);
        let farms = three_farms(&network);
        let desk = &farms[0];
        let round = proposed(&network, desk, &[]);
        assert_eq!(round["state"], "proposed", "{round}");
        assert!(round["said"].as_str().unwrap().contains("could exceed"), "{round}");
        let proposals = round["proposals"].as_array().unwrap();
        assert_eq!(proposals.len(), 1, "one loop of three: {round}");
        let first = id(&proposals[0]);
        assert_eq!(proposals[0]["farms"].as_array().unwrap().len(), 3);

        // What each gives and gets is told to it, in the program's words and as a message.
        let told = farms[1].run(&["round", "proposal", &first]).done();
        assert!(told.contains("Brindle gives Corrow"), "{told}");
        assert!(told.contains("silence declines"), "{told}");
        assert!(farms[1].run(&["messages"]).done().contains("A round proposes a loop of 3 farms"));

        farms[0].run(&["round", "accept", &first, "--yes"]).done();
        let gone = farms[1].run(&["round", "decline", &first, "--json"]).json();
        assert_eq!(gone["proposal"]["state"], "declined");
        let late = farms[2].run(&["round", "accept", &first, "--yes"]).ends_with(3);
        assert!(late.contains("declined"), "{late}");
        assert!(farms.iter().all(|farm| holds(farm).is_empty()));

        // Its stock is in the next round.
        let again = proposed(&network, desk, &["--most-farms", "3"]);
        let second = id(&again["proposals"][0]);
        assert_ne!(first, second);
        for (at, farm) in farms.iter().enumerate() {
            assert_eq!(holds(farm).len(), 0, "nothing is held before all have accepted ({at})");
            farm.run(&["round", "accept", &second, "--yes"]).done();
        }
        for farm in &farms {
            let holds = holds(farm);
            let states: Vec<&str> = holds.iter().map(|it| it["state"].as_str().unwrap()).collect();
            assert_eq!(states, ["agreed", "agreed"], "one given, one taken");
        }

        // The parcels go round, and the owed book is even to within the tolerance.
        for (at, farm) in farms.iter().enumerate() {
            let given = holds(farm);
            let given = given.iter().find(|it| it["giver"]["name"] == NAMES[at]).unwrap();
            let (hold, count) = (given["hold"].as_str().unwrap(), given["count"].to_string());
            let words = ["handover", "give", hold, "--given", &count, "--yes", "--json"];
            let handed = farm.run(&words).json();
            let hand_over = handed["hold"]["hand_over"]["hand_over"].as_str().unwrap().to_owned();
            let words = ["handover", "receive", &hand_over, "--received", &count, "--yes"];
            farms[(at + 1) % 3].run(&words).done();
        }
        let owed = desk.run(&["owed", "--json"]).json();
        let balances: Vec<i64> =
            owed["balances"].as_array().unwrap().iter().map(|it| it["owed_tenths"].as_i64().unwrap()).collect();
        assert_eq!(balances.iter().sum::<i64>(), 0);
        assert!(balances.iter().all(|owed| owed.abs() <= 15), "{balances:?}");
        for (at, farm) in farms.iter().enumerate() {
            farm.sync();
            let lots = farm.run(&["lot", "list", "--variety", VARIETIES[(at + 2) % 3], "--json"]).json();
            assert!(lots["lots"][0]["in_store"].as_u64().unwrap() >= 2, "{lots}");
        }
        let checked = network.server_says(&["check"]);
        assert_eq!(checked.exit, 0, "{}", checked.err);
    }

    fn a_swap_day_takes_place_without_those_who_stay_away_and_is_settled_for_those_who_came(kind: Kind) {
        let network = Network::on(kind);
        let farms = three_farms(&network);
        let desk = &farms[0];
        let round = proposed(
            &network,
            desk,
            &["--swap-day", "2027-03-14", "--place", "the old barn", "--usual-limit", "50.0"],
        );
        assert_eq!(round["proposals"].as_array().unwrap().len(), 1, "{round}");
        let day = id(&round["proposals"][0]);
        let lists = farms[1].run(&["round", "lists", &day]).done();
        assert!(lists.contains("the old barn") && lists.contains("Brindle brings"), "{lists}");
        assert!(!lists.contains("Ashlode brings"), "a farm sees its own list: {lists}");
        let all = desk.run(&as_coordinator(&network, &["round", "lists", &day])).json();
        assert_eq!(all["lists"]["packing"].as_array().unwrap().len(), 3);
        assert_eq!(all["lists"]["hall"].as_array().unwrap().len(), 3, "{all}");

        for farm in &farms {
            farm.run(&["round", "accept", &day, "--yes"]).done();
        }
        let begun = Instant::now();
        while state(&network, &day) == "open" {
            assert!(begun.elapsed() < PATIENCE);
            std::thread::sleep(Duration::from_millis(200));
        }
        assert_eq!(state(&network, &day), "agreed");
        assert!(farms.iter().all(|farm| holds(farm).len() == 2));

        // A farm brings what nobody planned, and gives some of it away on the spot.
        let words = ["round", "walk-up", &day, "Wren Candle", "--count", "4", "--json"];
        let brought = farms[1].run(&words).json();
        let offer = brought["offer"]["offer"].as_str().unwrap();
        // The server's own day, which is not the one that these devices are told.
        let today = &brought["offer"]["made_at"].as_str().unwrap()[..10];
        let ashlode = farms[0].run(&["farm", "show", "--json"]).json();
        let to = ashlode["farm"].as_str().unwrap();
        let pass = ["handover", "pass", offer, "--to", to, "--count", "1", "--purpose", "gift"];
        let passed = farms[1].run(&[&pass[..], &["--on", today, "--yes", "--json"]].concat()).json();
        assert_eq!(passed["hold"]["state"], "handed-over");
        let lists = farms[0].run(&["round", "lists", &day]).done();
        assert!(lists.contains("'Wren Candle': 3 divisions free, from Brindle"), "{lists}");
        farms[1].sync();
        let lots = farms[1].run(&["lot", "list", "--variety", "Wren Candle", "--json"]).json();
        assert_eq!(lots["lots"][0]["in_store"], 3, "{lots}");

        // On the day Corrow does not come.
        let corrow = round["proposals"][0]["farms"].as_array().unwrap();
        let corrow = corrow.iter().find(|part| part["farm"]["name"] == "Corrow").unwrap();
        let corrow = corrow["farm"]["id"].as_str().unwrap();
        let words = ["round", "settle", &day, "--absent", corrow, "--yes"];
        let settled = desk.run(&as_coordinator(&network, &words)).json();
        assert_eq!(settled["proposal"]["state"], "settled", "{settled}");
        let live = |farm: &Device| {
            holds(farm).iter().filter(|it| it["state"] == "agreed").cloned().collect::<Vec<_>>()
        };
        assert!(live(&farms[2]).is_empty(), "nothing is left of what it would have brought or taken");
        assert_eq!(live(&farms[0]).len(), 1, "what Ashlode gives Brindle stands");
        assert!(farms[2].run(&["messages"]).done().contains("settled for those who came"));
        let sheet = farms[0].run(&["offer", "list"]).done();
        assert!(!sheet.contains("Wren Candle"), "what is left goes home again: {sheet}");
    }

    fn a_limit_refuses_a_hold_with_a_clear_problem(kind: Kind) {
        let network = Network::on(kind);
        let farms = three_farms(&network);
        let me = farms[1].run(&["farm", "show", "--json"]).json();
        let brindle = me["farm"].as_str().unwrap().to_owned();
        let words = ["round", "limit", &brindle, "--at-most", "3.0"];
        farms[0].run(&as_coordinator(&network, &words)).done();
        let sheet = farms[1].run(&["offer", "list", "--json"]).json();
        let offer = sheet["offers"].as_array().unwrap();
        let offer = offer.iter().find(|it| it["farm"]["name"] == "Ashlode").unwrap();
        let offer = offer["offer"].as_str().unwrap().to_owned();
        let words = ["hold", "ask", &offer, "--count", "4", "--value", "1.0"];
        let refused = farms[1].run(&words).ends_with(3);
        assert!(refused.contains("would owe 4.0") && refused.contains("limit is 3.0"), "{refused}");
        farms[1].run(&["hold", "ask", &offer, "--count", "3", "--value", "1.0"]).done();
    }
}

#[test]
fn two_servers_of_one_timetable_begin_one_round() {
    let network = Network::on(Kind::Postgresql);
    let farms = three_farms(&network);
    let _replica = network.replica("second", &[]);
    let words = ["round", "timetable", "--every", "7", "--seconds", "3"];
    farms[0].run(&as_coordinator(&network, &words)).done();
    let begun = Instant::now();
    let rounds = loop {
        let listed = farms[0].run(&["round", "list", "--json"]).json();
        let rounds = listed["rounds"].as_array().unwrap().clone();
        let done = rounds.first().is_some_and(|it| it["state"] == "proposed");
        if done {
            // Both have looked again by then.
            std::thread::sleep(Duration::from_secs(5));
            let listed = farms[0].run(&["round", "list", "--json"]).json();
            break listed["rounds"].as_array().unwrap().clone();
        }
        assert!(begun.elapsed() < PATIENCE, "{listed}");
        std::thread::sleep(Duration::from_millis(200));
    };
    assert_eq!(rounds.len(), 1, "{rounds:?}");
    assert_eq!(rounds[0]["asked_by"], "timetable");
    let told = farms[0].run(&["messages"]).done();
    assert_eq!(told.matches("A round proposes a loop").count(), 1, "{told}");
}
