//! Clients who ask for holds at the store's seam, as the server's handlers do.

use std::thread;
use std::time::{Duration, Instant};

use spareloop_domain::words::OfferId;
use spareloop_store::{ActKey, Once, fresh, holds, offers};
use uuid::Uuid;

use crate::common::{Farm, House, Network, asking, farm, later, lot, n, network, new_offer, now};

/// As many as the design asks for.
pub(crate) const CLIENTS: usize = 64;
/// Offers that they ask at.
pub(crate) const OFFERS: u64 = 64;
const UNITS: u16 = 60_000;

/// A network with offers and farms that ask for them.
pub(crate) struct Market {
    pub(crate) network: Network,
    pub(crate) giver: Farm,
    pub(crate) takers: Vec<Farm>,
    pub(crate) offers: Vec<OfferId>,
}

/// An offer's id that a script can work out, too: its number in twelve digits behind a fixed stem.
pub(crate) const STEM: &str = "00000000-0000-7000-8000-";

impl Market {
    pub(crate) fn new(house: &House) -> Self {
        let network = network(house, "Invented Loop");
        let mut giver = farm(house, &network, "Larkhusk");
        let takers =
            (0..CLIENTS).map(|number| farm(house, &network, &format!("Taker {number}"))).collect();
        let offers = (0..OFFERS).map(|number| {
            let lot = lot(house, &mut giver, &format!("Ember Lantern {number}"), UNITS);
            let id: Uuid = format!("{STEM}{number:012}").parse().unwrap();
            let mut new = new_offer(lot, UNITS, 1);
            new.id = OfferId::new(id);
            house.write(|tx| offers::make(tx, giver.network, giver.id, &new, now()));
            new.id
        });
        let offers = offers.collect();
        Self { network, giver, takers, offers }
    }
}

/// What a run of clients came to.
pub(crate) struct Pace {
    pub(crate) per_second: f64,
    /// Milliseconds that half of all acts took at most.
    pub(crate) median: f64,
    /// Milliseconds that 99 of 100 took at most.
    pub(crate) p99: f64,
}

impl Pace {
    pub(crate) fn of(mut took: Vec<Duration>, within: Duration) -> Self {
        took.sort_unstable();
        let at = |share: usize| took[(took.len() - 1) * share / 100].as_secs_f64() * 1_000.0;
        let per_second = took.len() as f64 / within.as_secs_f64();
        Self { per_second, median: at(50), p99: at(99) }
    }
}

/// Every client asks for one unit again and again, at offers in turn.
pub(crate) fn ask(house: &House, market: &Market, offers: &[OfferId], time: Duration) -> Pace {
    let begun = Instant::now();
    let took: Vec<Duration> = thread::scope(|scope| {
        let clients: Vec<_> = market
            .takers
            .iter()
            .enumerate()
            .map(|(number, taker)| {
                scope.spawn(move || {
                    let mut took = Vec::new();
                    for offer in offers.iter().cycle().skip(number) {
                        if begun.elapsed() > time {
                            break;
                        }
                        let start = Instant::now();
                        ask_once(house, taker, *offer);
                        took.push(start.elapsed());
                    }
                    took
                })
            })
            .collect();
        clients.into_iter().flat_map(|client| client.join().unwrap()).collect()
    });
    Pace::of(took, begun.elapsed())
}

/// One hold, once, as a request asks for it.
pub(crate) fn ask_once(house: &House, taker: &Farm, offer: OfferId) -> ActKey {
    let asked = asking(offer, 1);
    let key = fresh::uuid(now()).unwrap().to_string().parse().unwrap();
    let act = ActKey { caller: taker.grower.to_string(), key, fingerprint: [7; 32] };
    let done = house.store().settle(&act, now(), ToString::to_string, |tx| {
        holds::ask(tx, taker.network, taker.id, &asked, now()).map(|hold| hold.id)
    });
    assert!(matches!(done, Ok(Once::Done(id)) if id == asked.id), "{done:?}");
    act
}

/// Nothing is promised that isn't there, and what is promised is what holds say.
pub(crate) fn check(house: &House, market: &Market) {
    for offer in &market.offers {
        let seen = house.read(|tx| offers::offer(tx, market.network.id, *offer, later(1)));
        assert!(seen.held <= n(UNITS));
    }
    assert!(house.store().check().is_ok(), "promises add up");
}
