//! A parcel with the real programs, on both databases: terms, frost date, pause, and what froze.

use spareloop_tests::network::Network;
use spareloop_tests::on_both;

on_both! {
    fn a_parcel_waits_for_its_day_and_what_froze_is_borne_as_agreed(kind: Kind) {
        let network = Network::on(kind);
        let (giver, taker) = (network.farm("Ashlode"), network.farm("Brindle"));
        let lot = giver.lot("Ember Lantern", 40);
        giver.sync();
        let offer = giver.offer(&lot, 20);
        let ask = ["hold", "ask", &offer, "--count", "10", "--value", "1.5", "--json"];
        let hold = taker.run(&ask).json()["hold"]["hold"].as_str().unwrap().to_owned();
        let early = taker.run(&["parcel", "terms", &hold, "--post", "taker", "--frost", "giver"]);
        assert!(early.ends_with(3).contains("Only what is agreed travels as a parcel"));
        giver.run(&["hold", "agree", &hold, "--yes"]).done();
        let terms = ["parcel", "terms", &hold, "--post", "taker", "--frost", "giver", "--not-before", "2026-03-21"];
        let proposed = taker.run(&terms).done();
        assert!(proposed.contains("Parcel proposed: the post is paid by the taker"), "{proposed}");
        let told = giver.run(&["messages"]).done();
        assert!(told.contains("freezing is borne by the giver, not before 2026-03-21"), "{told}");
        giver.run(&["parcel", "agree", &hold]).done();
        giver.run(&["parcel", "pack", &hold]).done();
        let give = |on: &str| giver.run(&["handover", "give", &hold, "--given", "10", "--on", on, "--yes", "--json"]);
        let refused = give("2026-03-20");
        assert!(refused.ends_with(3).contains("not to leave before 2026-03-21"));
        taker.run(&["parcel", "pause", &hold, "--until", "2026-03-22", "--why", "hard frost here"]).done();
        assert!(give("2026-03-22").ends_with(3).contains("paused until 2026-03-22"));
        taker.run(&["parcel", "pause", &hold]).done();
        let given = give("2026-03-22").json();
        assert_eq!(given["hold"]["parcel"]["state"], "sent", "{given}");
        let hand_over = given["hold"]["hand_over"]["hand_over"].as_str().unwrap().to_owned();
        let receive = ["handover", "receive", &hand_over, "--received", "4", "--on", "2026-03-24"];
        let came = taker.run(&[&receive[..], &["--arrival", "frozen", "--yes"]].concat()).done();
        assert!(came.contains("Parcel frozen"), "{came}");
        let owed = giver.run(&["owed"]).done();
        assert!(owed.contains("+6.0"), "four of ten survived, and the giver bears the rest: {owed}");
        let checked = network.server_says(&["check"]);
        assert_eq!(checked.exit, 0, "{}", checked.err);
    }
}
