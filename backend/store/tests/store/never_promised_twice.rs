//! Sixteen farms on one offer, on both databases: the sum of living holds never passes the count,
//! nobody meets an error but "not enough free", and no hold is lost.

use std::thread;

use crate::common::{Farm, House, asking, farm, later, lose, lot, n, network, now, offer};
use spareloop_domain::exchange::HoldState;
use spareloop_domain::words::{Count, HoldId, OfferId};
use spareloop_store::{Conflict, StoreError, farm_book, holds, offers};

const FARMS: usize = 16;

struct Market {
    giver: Farm,
    takers: Vec<Farm>,
}

fn market(house: &House) -> Market {
    let network = network(house, "Invented Loop");
    let giver = farm(house, &network, "Larkhusk");
    let takers = (0..FARMS).map(|n| farm(house, &network, &format!("Taker {n}"))).collect();
    Market { giver, takers }
}

/// Asks for 1 to 3 units, again and again; answers the holds that were granted.
fn ask_again_and_again(house: &House, taker: &Farm, offer: OfferId, seed: u16) -> Vec<HoldId> {
    let mut granted = Vec::new();
    for round in 0..6 {
        let asked = asking(offer, 1 + (seed + round) % 3);
        match house.try_write(|tx| holds::ask(tx, taker.network, taker.id, &asked, now())) {
            Ok(hold) => granted.push(hold.id),
            Err(StoreError::Conflict(Conflict::NotEnoughFree { .. })) => {}
            Err(other) => panic!("{other:?}"),
        }
    }
    granted
}

fn living(house: &House, giver: &Farm, offer: OfferId) -> Count {
    let all = house.read(|tx| holds::holds(tx, giver.id, None, 10_000, later(1)));
    assert!(all.iter().all(|hold| hold.offer == offer));
    all.iter().filter(|hold| hold.state.is_live()).map(|hold| hold.count).sum()
}

on_both! {
    fn sixteen_farms_share_out_one_offer_to_the_last_unit_and_not_beyond(house: &House) {
        let mut market = market(house);
        let lot = lot(house, &mut market.giver, "Ember Lantern", 50);
        let offer = offer(house, &market.giver, lot, 50, 1);
        let granted: Vec<Vec<HoldId>> = thread::scope(|scope| {
            let threads: Vec<_> = market
                .takers
                .iter()
                .zip(0_u16..)
                .map(|(taker, seed)| {
                    scope.spawn(move || ask_again_and_again(house, taker, offer, seed))
                })
                .collect();
            threads.into_iter().map(|thread| thread.join().unwrap()).collect()
        });
        let after = house.read(|tx| offers::offer(tx, market.giver.network, offer, later(1)));
        assert_eq!(living(house, &market.giver, offer), after.held);
        assert_eq!(after.held, n(50), "192 were asked for, so all 50 are held and no more");
        for (taker, granted) in market.takers.iter().zip(&granted) {
            let seen = house.read(|tx| holds::holds(tx, taker.id, None, 100, later(1)));
            assert_eq!(seen.len(), granted.len(), "no hold is lost, none is made up");
            assert!(seen.iter().all(|hold| granted.contains(&hold.id)));
        }
    }

    fn losses_that_arrive_among_the_asking_never_leave_more_promised_than_in_store(house: &House) {
        let mut market = market(house);
        let lot = lot(house, &mut market.giver, "Ember Lantern", 120);
        let offer = offer(house, &market.giver, lot, 120, 1);
        let takers = &market.takers;
        let giver = &mut market.giver;
        let giver_id = giver.id;
        let granted: Vec<Vec<HoldId>> = thread::scope(|scope| {
            let loser = scope.spawn(|| {
                for count in [7, 13, 20, 9, 16, 11] {
                    lose(house, giver, lot, count);
                }
            });
            let watch = || {
                // One moment of the book and of the promises, together.
                let (in_store, promised) = house.read(|tx| {
                    let in_store = farm_book(tx, giver_id)?.lots[&lot].in_store;
                    let promised = offers::promised_by_lot(tx, giver_id, later(1))?[&lot];
                    Ok((in_store, promised))
                });
                assert!(promised <= in_store, "{promised} promised of {in_store}");
            };
            let threads: Vec<_> = takers
                .iter()
                .zip(0_u16..)
                .map(|(taker, seed)| {
                    scope.spawn(move || ask_again_and_again(house, taker, offer, seed))
                })
                .collect();
            while !loser.is_finished() {
                watch();
            }
            loser.join().unwrap();
            watch();
            threads.into_iter().map(|thread| thread.join().unwrap()).collect()
        });
        let after = house.read(|tx| offers::offer(tx, market.giver.network, offer, later(1)));
        assert_eq!(after.count, n(44), "120 less the 76 that were lost");
        assert_eq!(living(house, &market.giver, offer), after.held);
        assert!(after.held <= after.count);
        for (taker, granted) in market.takers.iter().zip(&granted) {
            let seen = house.read(|tx| holds::holds(tx, taker.id, None, 100, later(1)));
            for id in granted {
                let hold = seen.iter().find(|hold| hold.id == *id).expect("no hold is lost");
                let ended = hold.steps.iter().filter(|step| step.state == HoldState::Cut).count();
                assert!(hold.state == HoldState::Held || (hold.state == HoldState::Cut && ended == 1));
            }
            let added = seen.iter().filter(|hold| !granted.contains(&hold.id));
            assert!(added.into_iter().all(|hold| hold.cut_from.is_some()));
        }
    }
}
