//! Physics wins: tubers lost after they were promised cut the newest promise first.

use serde_json::Value;
use spareloop_tests::database::Kind;
use spareloop_tests::farm::Device;
use spareloop_tests::network::Network;
use spareloop_tests::on_both;

/// What binds stock that is still in store.
const LIVE: [&str; 2] = ["held", "agreed"];

struct Yard {
    network: Network,
    giver: Device,
    takers: [Device; 2],
    lot: String,
    offer: String,
}

/// 20 in store and offered, at least 3 a parcel.
fn yard(kind: Kind) -> Yard {
    let network = Network::on(kind);
    let giver = network.farm("Ashlode");
    let takers = [network.farm("Brindle"), network.farm("Cobnut")];
    let lot = giver.lot("Ember Lantern", 20);
    let words = ["offer", "make", &lot, "--count", "20", "--least", "3", "--json"];
    let made = giver.run(&words).json();
    let offer = made["offer"]["offer"].as_str().unwrap().to_owned();
    Yard { network, giver, takers, lot, offer }
}

impl Yard {
    fn promise(&self, taker: &Device, count: u32) -> String {
        let count = count.to_string();
        let words = ["hold", "ask", &self.offer, "--count", &count, "--value", "1.0", "--json"];
        let asked = taker.run(&words).json();
        let id = asked["hold"]["hold"].as_str().unwrap().to_owned();
        self.giver.run(&["hold", "agree", &id, "--yes"]).done();
        id
    }

    fn find_rot(&self, inspected: u32, rot: u32) {
        let numbers = [inspected, inspected - rot, rot].map(|number| number.to_string());
        let words = ["check", "add", &self.lot, "--inspected", &numbers[0], "--sound", &numbers[1]];
        self.giver.run(&[&words[..], &["--rot", &numbers[2]]].concat()).done();
        self.giver.sync();
    }

    #[track_caller]
    fn never_more_promised_than_in_store(&self) {
        let promised: u64 = live(&self.giver).iter().map(|(count, _)| count).sum();
        let in_store = self.giver.in_store(&self.lot);
        assert!(promised <= in_store, "{promised} promised, {in_store} in store");
        let sheet = self.takers[0].run(&["offer", "list", "--json"]).json();
        let offered = sheet["offers"].as_array().unwrap().iter();
        let free: u64 = offered.map(|offer| offer["free"].as_u64().unwrap()).sum();
        assert!(promised + free <= in_store, "{promised} promised, {free} free of {in_store}");
    }
}

/// The holds that bind a device's farm, with their counts and states.
fn live(device: &Device) -> Vec<(u64, String)> {
    let holds = device.run(&["hold", "list", "--json"]).json();
    let holds: &Vec<Value> = holds["holds"].as_array().unwrap();
    let live = holds.iter().filter(|hold| LIVE.iter().any(|state| hold["state"] == **state));
    live.map(|hold| (hold["count"].as_u64().unwrap(), hold["state"].as_str().unwrap().to_owned()))
        .collect()
}

fn state(device: &Device, hold: &str) -> String {
    let shown = device.run(&["hold", "show", hold, "--json"]).json();
    shown["hold"]["state"].as_str().unwrap().to_owned()
}

on_both! {
    fn the_newest_hold_is_cut_first_and_what_is_left_of_it_keeps_its_place(kind: Kind) {
        let yard = yard(kind);
        let [first, second] = &yard.takers;
        let (older, newer) = (yard.promise(first, 9), yard.promise(second, 8));

        // 3 are free, so the first 3 lost cost nobody anything.
        yard.find_rot(20, 3);
        assert_eq!(state(first, &older), "agreed");
        assert_eq!(state(second, &newer), "agreed");
        yard.never_more_promised_than_in_store();

        // 4 more: the newer gives way and its 4 that are left reach the least that is sent.
        yard.find_rot(17, 4);
        assert_eq!(state(first, &older), "agreed");
        assert_eq!(state(second, &newer), "cut");
        assert_eq!(live(second), [(4, "agreed".to_owned())]);
        yard.never_more_promised_than_in_store();
        for device in [&yard.giver, second] {
            let told = device.run(&["messages"]).done();
            assert!(told.contains("cut") && told.contains("4 remain"), "{told}");
        }
        let told = first.run(&["messages"]).done();
        assert!(!told.contains("cut"), "the older promise stands and hears nothing: {told}");

        // 2 more leave 2 of it, too few to send: it ends, and the older stands whole.
        yard.find_rot(13, 2);
        assert_eq!(live(second), []);
        assert_eq!(live(first), [(9, "agreed".to_owned())]);
        yard.never_more_promised_than_in_store();

        // The rest of it can still pass.
        let words = ["handover", "give", &older, "--given", "9", "--yes", "--json"];
        yard.giver.run(&words).json();
        yard.giver.sync();
        assert_eq!(yard.giver.in_store(&yard.lot), 2);
    }

    fn a_giver_whose_plan_a_loss_leaves_short_says_which_yields(kind: Kind) {
        let yard = yard(kind);
        let [first, second] = &yard.takers;
        yard.giver.run(&["plan", "set", "Ember Lantern", "--plants", "6"]).done();
        yard.giver.sync();
        let (older, newer) = (yard.promise(first, 6), yard.promise(second, 6));
        // 14 bear the 12 that are held, and 2 of the 6 planned.
        yard.find_rot(20, 6);
        let asked = yard.giver.run(&["question", "list", "--json"]).json();
        assert_eq!((&asked["questions"][0]["about"], &asked["questions"][0]["state"]), (&4.into(), &"asked".into()));
        let told = first.run(&["messages"]).done();
        assert!(told.contains("of which you hold 6") && told.contains("your hold stands"), "{told}");
        let question = asked["questions"][0]["question"].as_str().unwrap();
        let refused = yard.giver.run(&["question", "answer", question, "keep-need"]);
        assert_ne!(refused.exit, 0, "it is asked first whether that is meant");
        yard.giver.run(&["question", "answer", question, "keep-need", "--yes"]).done();
        assert_eq!(state(first, &older), "agreed");
        assert_eq!(state(second, &newer), "cut");
        assert_eq!(live(second), [], "2 are fewer than the least that is sent");
        let told = second.run(&["messages"]).done();
        assert!(told.contains("own need"), "{told}");
        yard.never_more_promised_than_in_store();
    }

    fn what_was_handed_over_is_never_cut(kind: Kind) {
        let yard = yard(kind);
        let [first, second] = &yard.takers;
        let handed = yard.promise(first, 9);
        yard.giver.run(&["handover", "give", &handed, "--given", "9", "--yes"]).done();
        let newer = yard.promise(second, 8);
        yard.giver.sync();
        assert_eq!(yard.giver.in_store(&yard.lot), 11);
        yard.find_rot(11, 11);
        assert_eq!(state(first, &handed), "handed-over");
        assert_eq!(state(second, &newer), "cut");
        assert_eq!(live(second), []);
        let again = yard.network.person("cobnut").board().unwrap();
        assert!(again.offers.is_empty(), "nothing is left to offer: {:?}", again.offers);
    }
}
