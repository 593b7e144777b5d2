//! Rules between regions and greatest distances, on both databases: what they ask for, what they stop,
//! and what both farms are told.

use crate::common::fair::{Fair, fair, refused, told};
use crate::common::ring::ring;
use crate::common::{House, asking, later, n, new_want, offer};
use spareloop_domain::attest::FactKind;
use spareloop_domain::exchange::movement::{ASK_FIRST, Region, Rule};
use spareloop_domain::exchange::{AnswerAct, Kilometres, ProposalState, Whereabouts};
use spareloop_store::holds::AskHold;
use spareloop_store::wants::NewWant;
use spareloop_store::{
    Missing, Refused, StoreError, holds, movement, proposals, wants, whereabouts,
};

fn region(name: &str) -> Region {
    name.parse().unwrap()
}

fn placed(house: &House, fair: &Fair) {
    for (farm, name) in [(&fair.giver, "North shore"), (&fair.taker, "Islands")] {
        house.write(|tx| {
            movement::set_region(tx, fair.network.id, farm.id, Some(&region(name)), later(1))
        });
    }
}

fn set(house: &House, fair: &Fair, from: &str, to: &str, rule: Option<&Rule>) {
    let by = (fair.network.id, fair.network.coordinator);
    let way = (region(from), region(to));
    house.write(|tx| movement::set_rule(tx, by, (&way.0, &way.1), rule, later(2)));
}

fn asks(kinds: &[FactKind]) -> Rule {
    let note = "The islands' office answers on Tuesdays".to_owned();
    Rule::Asks { required: kinds.iter().copied().collect(), note }
}

on_both! {
    fn both_farms_of_a_hold_between_regions_are_told_to_ask_and_within_one_nobody_is(house: &House) {
        let fair = fair(house);
        let of = offer(house, &fair.giver, fair.lot, 20, 1);
        house.write(|tx| holds::ask(tx, fair.network.id, fair.taker.id, &asking(of, 2), later(1)));
        let warned = |farm| told(house, farm).iter().filter(|it| it.contains(ASK_FIRST)).count();
        assert_eq!((warned(fair.giver.id), warned(fair.taker.id)), (0, 0));
        placed(house, &fair);
        set(house, &fair, "north-shore", "ISLANDS", Some(&asks(&[])));
        house.write(|tx| holds::ask(tx, fair.network.id, fair.taker.id, &asking(of, 3), later(3)));
        assert_eq!((warned(fair.giver.id), warned(fair.taker.id)), (1, 1));
        assert!(told(house, fair.taker.id)[0].contains("answers on Tuesdays"));
        let way = (fair.giver.id, fair.taker.id);
        let said = house.read(|tx| movement::caution(tx, fair.network.id, way)).unwrap();
        assert!(said.starts_with("From North shore to Islands"), "{said}");
        let back = (fair.taker.id, fair.giver.id);
        let said = house.read(|tx| movement::caution(tx, fair.network.id, back)).unwrap();
        assert!(!said.contains("Tuesdays"), "a rule holds one way: {said}");
    }

    fn a_rule_that_asks_or_stops_refuses_the_hold_until_it_is_taken_away(house: &House) {
        let fair = fair(house);
        let of = offer(house, &fair.giver, fair.lot, 20, 1);
        placed(house, &fair);
        let ask = |count| house.try_write(|tx| {
            holds::ask(tx, fair.network.id, fair.taker.id, &asking(of, count), later(3))
        });
        set(house, &fair, "North shore", "Islands", Some(&asks(&[FactKind::MovementPapers])));
        let missing = [FactKind::MovementPapers].into();
        assert_eq!(ask(2).map(drop), refused(Refused::MovementAsks { missing }));
        set(house, &fair, "North shore", "Islands", Some(&Rule::NotHere { note: String::new() }));
        let stopped = ask(2);
        assert!(matches!(stopped, Err(StoreError::Refused(Refused::MovementStopped { .. }))));
        assert_eq!(house.read(|tx| movement::rules(tx, fair.network.id)).len(), 1);
        set(house, &fair, "North shore", "Islands", None);
        assert_eq!(ask(2).unwrap().count, n(2));
    }

    fn a_loop_over_a_way_that_was_stopped_meanwhile_falls_through(house: &House) {
        let ring = ring(house);
        let of = ring.loop_of(house, 4);
        let (network, by) = (ring.network.id, ring.network.coordinator);
        for (farm, name) in ring.farms.iter().zip(["North shore", "Islands", "Islands"]) {
            house.write(|tx| movement::set_region(tx, network, farm.id, Some(&region(name)), later(5)));
        }
        let (from, to) = (region("North shore"), region("Islands"));
        let rule = Rule::NotHere { note: "root rot on the shore".to_owned() };
        house.write(|tx| movement::set_rule(tx, (network, by), (&from, &to), Some(&rule), later(6)));
        for farm in &ring.farms {
            let act = AnswerAct::AcceptByPart;
            house.write(|tx| proposals::answer(tx, network, farm.id, of.id, act, later(7)));
        }
        let seen = crate::common::ring::seen(house, network, of.id, 8);
        assert_eq!(seen.state, ProposalState::FellThrough);
        assert!(seen.why.contains("root rot on the shore"), "{}", seen.why);
    }

    fn a_region_is_noted_for_farms_of_the_network_alone_and_a_rule_needs_two_of_them(house: &House) {
        let fair = fair(house);
        let stranger = spareloop_domain::words::FarmId::new(crate::common::id());
        let north = region("North shore");
        let noted = house.try_write(|tx| {
            movement::set_region(tx, fair.network.id, stranger, Some(&north), later(1))
        });
        assert_eq!(noted, Err(Missing::Farm.into()));
        let by = (fair.network.id, fair.network.coordinator);
        let same = (region("Islands"), region("islands"));
        let one = house
            .try_write(|tx| movement::set_rule(tx, by, (&same.0, &same.1), Some(&asks(&[])), later(2)));
        assert_eq!(one, refused(Refused::OneRegion));
        placed(house, &fair);
        house.write(|tx| movement::set_region(tx, fair.network.id, fair.giver.id, None, later(3)));
        let way = (fair.giver.id, fair.taker.id);
        let said = house.read(|tx| movement::caution(tx, fair.network.id, way)).unwrap();
        assert!(said.contains("a region that is not noted"), "{said}");
    }

    fn a_want_of_what_is_near_is_met_by_nothing_farther_and_needs_a_place_to_reckon_from(house: &House) {
        let fair = fair(house);
        let of = offer(house, &fair.giver, fair.lot, 20, 1);
        let new = NewWant {
            within: Some(60.try_into().unwrap()),
            ..new_want("Ember Lantern", 6)
        };
        let make = || {
            house.try_write(|tx| wants::make(tx, fair.network.id, fair.taker.id, &new, later(1)))
        };
        assert_eq!(make().map(drop), refused(Refused::NowhereYet));
        let place = |farm, latitude: Option<f64>| {
            let at = latitude.map(|it| Whereabouts::of_degrees(it, -4.0).unwrap());
            house.write(|tx| whereabouts::set(tx, fair.network.id, farm, at, later(1)));
        };
        place(fair.taker.id, Some(52.0));
        assert_eq!(make().unwrap().within, new.within);
        let ask = |count| house.try_write(|tx| {
            let asked = AskHold { want: Some(new.id), ..asking(of, count) };
            holds::ask(tx, fair.network.id, fair.taker.id, &asked, later(3))
        });
        assert_eq!(ask(1).unwrap().count, n(1), "nobody knows how far it is: people may talk");
        place(fair.giver.id, Some(52.6));
        let (far, within) = (Kilometres(67), new.within.unwrap());
        assert_eq!(ask(1).map(drop), refused(Refused::TooFar { far, within }));
        let places = house.read(|tx| whereabouts::of_network(tx, fair.network.id));
        assert_eq!(places.between(fair.giver.id, fair.taker.id), Some(far));
        place(fair.giver.id, Some(52.5));
        assert_eq!(ask(2).unwrap().count, n(2), "56 km are near enough");
        place(fair.giver.id, None);
        let places = house.read(|tx| whereabouts::of_network(tx, fair.network.id));
        assert_eq!(places.between(fair.giver.id, fair.taker.id), None);
    }
}
