//! Holds on PostgreSQL against pgbench with the same statements over as many connections.

use std::time::Duration;

use crate::Size;
use crate::common::House;
use crate::load::{CLIENTS, Market, ask, check};
use crate::pgbench::{CONNECTIONS, Script};

pub(crate) fn run(size: Size) {
    let house = House::on_postgresql();
    let market = Market::new(&house);
    let script = Script::of_a_hold(&house, &market);
    compare("reserve", &house, &market, &script, market.offers.len(), size.time);
    compare("hot", &house, &market, &script, 1, size.time);
    check(&house, &market);
}

fn compare(
    what: &str,
    house: &House,
    market: &Market,
    script: &Script,
    offers: usize,
    time: Duration,
) {
    let before = script.run(offers, time);
    let ours = ask(house, market, &market.offers[..offers], time);
    let after = script.run(offers, time);
    let theirs = f64::midpoint(before, after);
    println!(
        "{what} postgres clients {CLIENTS} offers {offers} per_second {:.0} p99/median {:.1} \
         (median {:.1} ms) pgbench_{CONNECTIONS}_connections {theirs:.0} ({before:.0} and {after:.0}) ratio {:.2}",
        ours.per_second,
        ours.p99 / ours.median,
        ours.median,
        ours.per_second / theirs,
    );
}
