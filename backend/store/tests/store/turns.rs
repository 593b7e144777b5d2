//! The line for an offer: what comes free is held for the first in it, for a while, then for the next.

use std::sync::Barrier;

use crate::common::fair::{Fair, agree, fair, giving, refused, told};
use crate::common::{Farm, House, ask, asking, farm, id, later, lose, n, offer};
use chrono::TimeDelta;
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::exchange::{HoldState, Limit, Party, TurnState};
use spareloop_domain::words::{OfferId, Purpose, TurnId};
use spareloop_store::holds::{self, AskHold, Hold};
use spareloop_store::turns::{self, HELD_FOR, NewTurn, Turn};
use spareloop_store::{Conflict, Missing, Refused, StoreError, Taken, hand_overs, limits, offers};

fn try_wait(
    house: &House,
    taker: &Farm,
    of: OfferId,
    count: u16,
    at: i64,
) -> Result<Turn, StoreError> {
    let new = NewTurn {
        id: TurnId::new(id()),
        offer: of,
        count: n(count),
        want: None,
        purpose: Purpose::Swap,
        unit_value: Tenths(15),
        note: String::new(),
    };
    house.try_write(|tx| turns::wait(tx, taker.network, taker.id, &new, later(at)))
}

fn wait(house: &House, taker: &Farm, of: OfferId, count: u16, at: i64) -> Turn {
    try_wait(house, taker, of, count, at).unwrap()
}

fn turn(house: &House, farm: &Farm, of: &Turn) -> Turn {
    house.read(|tx| turns::turn(tx, farm.network, farm.id, of.id))
}

/// The hold that a farm was called to, as it stands then.
fn called(house: &House, farm: &Farm, of: &Turn, at: i64) -> Hold {
    let hold = turn(house, farm, of).hold.expect("it was called");
    house.read(|tx| holds::hold(tx, farm.id, hold, later(at)))
}

/// An offer of 10 that one farm holds whole, and two more farms that would like some.
fn wanted(house: &House) -> (Fair, Farm, Farm, OfferId, Hold) {
    let fair = fair(house);
    let second = farm(house, &fair.network, "Nettlecombe");
    let third = farm(house, &fair.network, "Orpine End");
    let of = offer(house, &fair.giver, fair.lot, 10, 2);
    let hold = ask(house, &fair.taker, of, 10);
    (fair, second, third, of, hold)
}

on_both! {
    fn what_is_released_is_held_for_the_first_in_line_and_then_for_the_next(house: &House) {
        let (fair, second, third, of, hold) = wanted(house);
        let first_turn = wait(house, &second, of, 6, 10);
        let next_turn = wait(house, &third, of, 8, 11);
        assert_eq!((first_turn.place, next_turn.place), (Some(1), Some(2)));
        let seen = house.read(|tx| turns::waiting(tx, fair.network.id, fair.giver.id, 10));
        assert_eq!(seen.len(), 2, "the giver sees the line");
        house.write(|tx| holds::release(tx, fair.taker.id, hold.id, "", later(20)));
        let of_first = called(house, &second, &first_turn, 20);
        assert_eq!((of_first.state, of_first.count), (HoldState::Held, n(6)));
        assert_eq!(of_first.lapses_at, later(20) + HELD_FOR);
        let of_next = called(house, &third, &next_turn, 20);
        assert_eq!(of_next.count, n(4), "as many as are left");
        assert!(told(house, second.id)[0].contains("Your turn: 6 of 'Ember Lantern'"));
        house.store().check().unwrap();
    }

    fn a_turn_that_is_let_lapse_goes_to_the_next_in_line(house: &House) {
        let (fair, second, third, of, hold) = wanted(house);
        let first_turn = wait(house, &second, of, 10, 10);
        let next_turn = wait(house, &third, of, 10, 11);
        house.write(|tx| holds::release(tx, fair.giver.id, hold.id, "", later(20)));
        assert_eq!(turn(house, &third, &next_turn).state, TurnState::Waiting);
        let over = 20 + HELD_FOR.num_seconds();
        let lapsed = called(house, &second, &first_turn, over);
        assert_eq!(lapsed.state, HoldState::Lapsed, "never counted even before the job sees it");
        assert_eq!(house.write(|tx| holds::lapse_overdue(tx, later(over))), 1);
        assert_eq!(called(house, &third, &next_turn, over).count, n(10));
        assert_eq!(house.write(|tx| holds::lapse_overdue(tx, later(over))), 0);
    }

    fn nobody_gets_before_the_first_in_line_by_asking_at_the_right_moment(house: &House) {
        let (fair, second, third, of, _) = wanted(house);
        let turn_of = wait(house, &second, of, 10, 10);
        // The hold's time passes; before any job looks, somebody else asks.
        let asked = AskHold { lapses_at: later(9_000), ..asking(of, 5) };
        let asks = house
            .try_write(|tx| holds::ask(tx, fair.network.id, third.id, &asked, later(3_600)));
        assert_eq!(asks, Err(Conflict::NotEnoughFree { asked: n(5), free: n(0) }.into()));
        house.write(|tx| holds::lapse_overdue(tx, later(3_600)));
        assert_eq!(called(house, &second, &turn_of, 3_600).count, n(10));
    }

    fn where_less_than_is_wished_for_is_free_that_much_is_held_at_once(house: &House) {
        let (fair, second, third, of, hold) = wanted(house);
        let first_turn = wait(house, &second, of, 4, 10);
        house.write(|tx| holds::release(tx, fair.taker.id, hold.id, "", later(12)));
        let next_turn = wait(house, &third, of, 9, 13);
        assert_eq!((next_turn.state, next_turn.place), (TurnState::Called, None));
        assert_eq!(called(house, &third, &next_turn, 13).count, n(6));
        assert_eq!(called(house, &second, &first_turn, 13).count, n(4));
    }

    fn one_waits_only_for_what_is_not_free_and_once(house: &House) {
        let (fair, second, _, of, hold) = wanted(house);
        let own = try_wait(house, &fair.giver, of, 4, 10);
        assert_eq!(own.map(drop), refused(Refused::OwnOffer));
        wait(house, &second, of, 4, 10);
        let twice = try_wait(house, &second, of, 4, 11);
        assert_eq!(twice, Err(Conflict::AlreadyTaken(Taken::Turn).into()));
        house.write(|tx| holds::release(tx, fair.taker.id, hold.id, "", later(12)));
        let free = try_wait(house, &fair.taker, of, 4, 13);
        assert_eq!(free.map(drop), refused(Refused::FreeAlready { free: n(6) }));
        let small = try_wait(house, &fair.taker, of, 1, 13);
        assert!(matches!(small, Err(StoreError::Refused(Refused::BelowSmallestParcel { .. }))));
    }

    fn a_line_can_be_left_by_those_in_it_alone(house: &House) {
        let (fair, second, third, of, hold) = wanted(house);
        let turn_of = wait(house, &second, of, 4, 10);
        let leave = |farm: &Farm| {
            house.try_write(|tx| turns::leave(tx, fair.network.id, farm.id, turn_of.id))
        };
        assert_eq!(leave(&third), Err(Missing::Turn.into()));
        assert_eq!(leave(&fair.giver), refused(Refused::OnlyBy(Party::Taker)));
        assert_eq!(leave(&second).unwrap().state, TurnState::Left);
        assert!(matches!(leave(&second), Err(StoreError::Refused(Refused::State(_)))));
        house.write(|tx| holds::release(tx, fair.taker.id, hold.id, "", later(12)));
        assert_eq!(turn(house, &second, &turn_of).hold, None);
    }

    fn what_a_loss_took_is_held_for_nobody(house: &House) {
        let (mut fair, second, _, of, hold) = wanted(house);
        let turn_of = wait(house, &second, of, 4, 10);
        let lot = fair.lot;
        lose(house, &mut fair.giver, lot, 36);
        assert_eq!(turn(house, &second, &turn_of).state, TurnState::Waiting);
        let cut = house.read(|tx| holds::hold(tx, fair.taker.id, hold.id, later(11)));
        assert_eq!(cut.state, HoldState::Cut);
        house.store().check().unwrap();
    }

    fn what_was_held_and_not_given_is_held_for_the_first_in_line(house: &House) {
        let (fair, second, _, of, hold) = wanted(house);
        let turn_of = wait(house, &second, of, 4, 10);
        agree(house, &fair.giver, hold.id);
        house.write(|tx| hand_overs::hand_over(tx, fair.giver.id, hold.id, &giving(7), later(20)));
        assert_eq!(called(house, &second, &turn_of, 20).count, n(3));
    }

    fn a_withdrawn_offer_ends_its_line(house: &House) {
        let (fair, second, _, of, _) = wanted(house);
        let turn_of = wait(house, &second, of, 4, 10);
        house.write(|tx| offers::withdraw(tx, fair.network.id, fair.giver.id, of, later(11)));
        assert_eq!(turn(house, &second, &turn_of).state, TurnState::Closed);
        assert!(told(house, second.id)[0].contains("your turn won't come"));
    }

    fn whom_a_limit_keeps_from_it_gives_the_turn_to_the_next(house: &House) {
        let (fair, second, third, of, hold) = wanted(house);
        let first_turn = wait(house, &second, of, 4, 10);
        let next_turn = wait(house, &third, of, 4, 11);
        let limit = Some(Limit::try_from(10).unwrap());
        house.write(|tx| limits::set(tx, fair.network.id, second.id, limit, later(12)));
        house.write(|tx| holds::release(tx, fair.taker.id, hold.id, "", later(20)));
        assert_eq!(turn(house, &second, &first_turn).state, TurnState::Closed);
        assert_eq!(called(house, &third, &next_turn, 20).count, n(4));
        assert!(told(house, second.id)[0].contains("its limit is 1.0"));
    }

    fn jobs_of_several_servers_call_each_turn_once(house: &House) {
        let (fair, second, third, of, _) = wanted(house);
        let first_turn = wait(house, &second, of, 5, 10);
        let next_turn = wait(house, &third, of, 5, 11);
        let over = 3_600 + TimeDelta::hours(1).num_seconds();
        let together = Barrier::new(4);
        let lapsed: usize = std::thread::scope(|scope| {
            let servers: Vec<_> = (0..4)
                .map(|_| scope.spawn(|| {
                    together.wait();
                    house.try_write(|tx| holds::lapse_overdue(tx, later(over))).unwrap()
                }))
                .collect();
            servers.into_iter().map(|server| server.join().unwrap()).sum()
        });
        assert_eq!(lapsed, 1);
        for (farm, turn_of) in [(&second, &first_turn), (&third, &next_turn)] {
            assert_eq!(called(house, farm, turn_of, over).count, n(5));
            let all = house.read(|tx| holds::holds(tx, farm.id, None, 10, later(over)));
            assert_eq!(all.len(), 1);
        }
        assert_eq!(told(house, fair.giver.id).iter().filter(|text| text.contains("lapsed")).count(), 1);
        house.store().check().unwrap();
    }
}
