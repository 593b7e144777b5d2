//! A sale whose money both sides confirm, a starter gift, and stock handed over on the spot, with the real
//! programs on both databases.

use serde_json::Value;
use spareloop_tests::farm::Device;
use spareloop_tests::network::Network;
use spareloop_tests::on_both;

fn offered(giver: &Device, lot: &str, more: &[&str]) -> String {
    let words = [&["offer", "make", lot, "--count", "6", "--json"], more].concat();
    giver.run(&words).json()["offer"]["offer"].as_str().unwrap().to_owned()
}

fn hold_of(said: &Value) -> String {
    said["hold"]["hold"].as_str().unwrap().to_owned()
}

on_both! {
    fn a_sale_is_held_at_a_price_and_its_money_is_on_record_once_both_say_so(kind: Kind) {
        let network = Network::on(kind);
        let (giver, taker) = (network.farm("Ashlode"), network.farm("Brindle"));
        let offer = offered(&giver, &giver.lot("Ember Lantern", 20), &[]);
        let ask = ["hold", "ask", &offer, "--count", "4", "--purpose", "sale"];
        let refused = taker.run(&ask).ends_with(3);
        assert!(refused.contains("A sale has a price"), "{refused}");
        let hold = hold_of(&taker.run(&[&ask[..], &["--price", "2.50 EUR", "--json"]].concat()).json());
        giver.run(&["hold", "agree", &hold, "--yes"]).done();
        let noted = taker.run(&["payment", "note", &hold, "--amount", "10 EUR", "--json"]).json();
        let payment = noted["hold"]["payments"][0]["payment"].as_str().unwrap();
        taker.run(&["payment", "confirm", payment]).ends_with(3);
        let shown = giver.run(&["payment", "confirm", payment]).done();
        assert!(shown.contains("Sold for 2.50 EUR each."), "{shown}");
        assert!(shown.contains("Paid 10 EUR") && shown.contains("confirmed by both"), "{shown}");
        giver.run(&["handover", "give", &hold, "--given", "4", "--yes"]).done();
        let owed = taker.run(&["owed"]).done();
        let even = owed.lines().filter(|line| line.ends_with(" 0.0")).count();
        assert_eq!(even, 2, "money stays out of the owed book: {owed}");
    }

    fn a_starter_gift_goes_to_a_beginner_and_what_passes_on_the_spot_is_confirmed(kind: Kind) {
        let network = Network::on(kind);
        let (giver, taker) = (network.farm("Ashlode"), network.farm("Brindle"));
        let lot = giver.lot("Ember Lantern", 20);
        let gift = offered(&giver, &lot, &["--for", "beginners"]);
        let swap = ["hold", "ask", &gift, "--count", "2", "--value", "1.0"];
        let refused = taker.run(&swap).ends_with(3);
        assert!(refused.contains("ask for it as a gift"), "{refused}");
        taker.run(&["hold", "ask", &gift, "--count", "2", "--purpose", "gift"]).done();

        let offer = offered(&giver, &lot, &[]);
        let shown = taker.run(&["farm", "show", "--json"]).json();
        let to = shown["farm"].as_str().unwrap();
        let pass = ["handover", "pass", &offer, "--to", to, "--count", "3", "--value", "1.2"];
        let passed = giver.run(&[&pass[..], &["--yes", "--json"]].concat()).json();
        let hand_over = passed["hold"]["hand_over"]["hand_over"].as_str().unwrap();
        taker.run(&["handover", "receive", hand_over, "--received", "3", "--yes"]).done();
        let owed = giver.run(&["owed"]).done();
        assert!(owed.contains("+3.6"), "{owed}");
        // Whoever has handed something over is no beginner any more.
        let back = ["hold", "ask", &offered(&taker, &taker.lot("Moss Anthem", 9), &["--for", "beginners"])];
        let late = giver.run(&[&back[..], &["--count", "1", "--purpose", "gift"]].concat()).ends_with(3);
        assert!(late.contains("joined within two years"), "{late}");
    }
}
