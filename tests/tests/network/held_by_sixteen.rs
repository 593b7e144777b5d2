//! Sixteen growers at one offer through the real server, on both databases: no unit is promised
//! twice, nobody meets a server error, and every hold that was answered is there.

use std::thread;

use spareloop_api::client::{CallError, Client};
use spareloop_api::exchange::{AskHold, HoldView};
use spareloop_api::problem::ProblemCode;
use spareloop_domain::words::{Count, HoldId, OfferId, Purpose};
use spareloop_tests::network::{Network, key};
use spareloop_tests::on_both;

const GROWERS: u32 = 16;
const TRIES: u32 = 6;
const OFFERED: u32 = 50;

fn grower(network: &Network, number: u32) -> Client {
    network.join(&format!("taker-{number}"), &format!("Taker {number}"))
}

/// Asks for 1 to 3 units again and again, each time twice under one key, as a client does whose
/// first answer came late; answers what was granted.
fn ask_again_and_again(grower: &Client, offer: OfferId, seed: u32) -> Vec<HoldView> {
    let mut granted = Vec::new();
    for round in 0..TRIES {
        let asked = AskHold {
            unit_price: None,
            hold: HoldId::new(uuid::Uuid::from_u128(u128::from(seed * TRIES + round + 1))),
            count: Count::new(i64::from(1 + (seed + round) % 3)).unwrap(),
            want: None,
            purpose: Purpose::Swap,
            unit_value_tenths: 10,
            hours: None,
            note: String::new(),
        };
        let key = key();
        let both = thread::scope(|scope| {
            let send = || grower.ask_hold(&key, offer, &asked);
            let early = scope.spawn(send);
            [send(), early.join().unwrap()]
        });
        let answers: Vec<HoldView> = both.into_iter().filter_map(held).collect();
        if let [one, other] = answers.as_slice() {
            assert_eq!(one.hold, other.hold, "the same act has one effect");
        }
        granted.extend(answers.into_iter().next());
    }
    granted
}

/// A hold, or a refusal that may be.
fn held(answer: Result<HoldView, CallError>) -> Option<HoldView> {
    match answer {
        Ok(hold) => Some(hold),
        Err(error) => {
            let code = error.code();
            let may_be = [ProblemCode::NotEnoughFree, ProblemCode::StillWorking];
            assert!(code.is_some_and(|code| may_be.contains(&code)), "{error:?}");
            None
        }
    }
}

on_both! {
    fn sixteen_growers_share_out_one_offer_and_not_a_unit_more(kind: Kind) {
        let network = Network::on(kind);
        let giver = network.farm("Ashlode");
        let lot = giver.lot("Ember Lantern", OFFERED + 5);
        let offer: OfferId = giver.offer(&lot, 50).parse().unwrap();
        let growers: Vec<Client> = (0..GROWERS).map(|number| grower(&network, number)).collect();

        let granted: Vec<Vec<HoldView>> = thread::scope(|scope| {
            let threads: Vec<_> = growers
                .iter()
                .zip(0_u32..)
                .map(|(grower, seed)| scope.spawn(move || ask_again_and_again(grower, offer, seed)))
                .collect();
            threads.into_iter().map(|thread| thread.join().unwrap()).collect()
        });

        let mut held = 0;
        for (grower, granted) in growers.iter().zip(&granted) {
            let seen = grower.holds().unwrap();
            assert_eq!(seen.len(), granted.len(), "no hold is lost, none is made up");
            for hold in granted {
                let there = seen.iter().find(|it| it.hold == hold.hold).expect("an answered hold");
                assert_eq!((there.state.as_str(), there.count), ("held", hold.count));
                held += there.count.get();
            }
        }
        // 192 were asked for, the last of them one at a time: all 50 are held, and no more.
        let after = growers[0].offer(offer).unwrap();
        assert_eq!((held, after.free.get()), (OFFERED, 0));
        assert_eq!(giver.in_store(&lot), u64::from(OFFERED + 5));
    }
}
