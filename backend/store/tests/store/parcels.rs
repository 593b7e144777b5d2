//! Parcels on both databases: terms, frost dates, pauses, and how what was sent came.

use crate::common::fair::{Fair, agree as agree_hold, fair, giving, receiving, refused, told};
use crate::common::{House, ask, day, later, n, offer};
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::exchange::parcel::{Arrival, FrostBorneBy, NotYet, Post, Terms};
use spareloop_domain::exchange::{HoldState, ParcelAct, ParcelState};
use spareloop_domain::words::{Count, Day, HandOverId, HoldId};
use spareloop_store::hand_overs::{self, NewHandOver, NewReceipt};
use spareloop_store::holds::Hold;
use spareloop_store::parcels::{self, Parcel};
use spareloop_store::{Missing, Refused, StoreError, owed};

const TERMS: Terms = Terms { post: Post::Taker, frost: FrostBorneBy::Giver, not_before: None };

fn held(house: &House, fair: &Fair) -> HoldId {
    let of = offer(house, &fair.giver, fair.lot, 20, 1);
    let hold = ask(house, &fair.taker, of, 10);
    agree_hold(house, &fair.giver, hold.id);
    hold.id
}

fn parcel(house: &House, hold: HoldId) -> Parcel {
    house.read(|tx| parcels::of(tx, hold)).unwrap()
}

fn propose(house: &House, fair: &Fair, hold: HoldId, terms: Terms) {
    house.write(|tx| parcels::propose(tx, fair.taker.id, hold, &terms, later(5)));
}

/// Agreed by the giver and packed.
fn packed(house: &House, fair: &Fair, hold: HoldId, terms: Terms) {
    propose(house, fair, hold, terms);
    house.write(|tx| parcels::agree(tx, fair.giver.id, hold, later(6)));
    house.write(|tx| parcels::pack(tx, fair.giver.id, hold, later(7)));
}

fn send(house: &House, fair: &Fair, hold: HoldId) -> Result<Hold, StoreError> {
    let new = NewHandOver { id: HandOverId::new(crate::common::id()), ..giving(10) };
    house.try_write(|tx| hand_overs::hand_over(tx, fair.giver.id, hold, &new, later(8)))
}

fn came(
    house: &House,
    fair: &Fair,
    sent: &Hold,
    arrival: Arrival,
    count: u16,
) -> Result<Hold, StoreError> {
    let id = sent.hand_over.as_ref().unwrap().id;
    let new = NewReceipt { arrival, ..receiving(count) };
    house.try_write(|tx| hand_overs::receive(tx, fair.taker.id, id, &new, later(9)))
}

fn owed_to_giver(house: &House, fair: &Fair) -> Tenths {
    let all = house.read(|tx| owed::balances(tx, fair.network.id));
    assert_eq!(all.values().map(|tenths| tenths.0).sum::<i64>(), 0);
    all.get(&fair.giver.id).copied().unwrap_or_default()
}

on_both! {
    fn nothing_leaves_before_both_agreed_on_the_post_and_the_frost_and_it_is_packed(house: &House) {
        let fair = fair(house);
        let hold = held(house, &fair);
        propose(house, &fair, hold, TERMS);
        assert!(told(house, fair.giver.id)[0].contains("the post is paid by the taker, freezing is borne by the giver"));
        let unagreed = send(house, &fair, hold);
        assert!(matches!(unagreed, Err(StoreError::Refused(Refused::State(_)))), "{unagreed:?}");
        let own = house.try_write(|tx| parcels::agree(tx, fair.taker.id, hold, later(6)));
        assert_eq!(own.map(drop), refused(Refused::OwnTerms));
        house.write(|tx| parcels::agree(tx, fair.giver.id, hold, later(6)));
        assert!(send(house, &fair, hold).is_err(), "it is not packed");
        let taker_packs = house.try_write(|tx| parcels::pack(tx, fair.taker.id, hold, later(7)));
        assert_eq!(taker_packs.map(drop), refused(Refused::OnlyBy(ParcelAct::PackByGiver.by())));
        house.write(|tx| parcels::pack(tx, fair.giver.id, hold, later(7)));
        let sent = send(house, &fair, hold).unwrap();
        assert_eq!((sent.state, parcel(house, hold).state), (HoldState::HandedOver, ParcelState::Sent));
        came(house, &fair, &sent, Arrival::Arrived, 10).unwrap();
        assert_eq!(parcel(house, hold).state, ParcelState::Arrived);
        assert_eq!(owed_to_giver(house, &fair), Tenths(150));
        house.store().check().unwrap();
    }

    fn other_terms_are_agreed_anew_and_what_is_not_agreed_to_travels_as_no_parcel(house: &House) {
        let fair = fair(house);
        let of = offer(house, &fair.giver, fair.lot, 20, 1);
        let asked = ask(house, &fair.taker, of, 5);
        let early = house.try_write(|tx| parcels::propose(tx, fair.taker.id, asked.id, &TERMS, later(5)));
        assert_eq!(early.map(drop), refused(Refused::ParcelOf(HoldState::Held)));
        let none = house.try_write(|tx| parcels::pack(tx, fair.giver.id, asked.id, later(5)));
        assert_eq!(none.map(drop), Err(Missing::Parcel.into()));
        agree_hold(house, &fair.giver, asked.id);
        propose(house, &fair, asked.id, TERMS);
        house.write(|tx| parcels::agree(tx, fair.giver.id, asked.id, later(6)));
        let other = Terms { post: Post::Halves, ..TERMS };
        house.write(|tx| parcels::propose(tx, fair.giver.id, asked.id, &other, later(7)));
        let found = parcel(house, asked.id);
        assert_eq!((found.state, found.terms.post), (ParcelState::Proposed, Post::Halves));
        assert!(house.try_write(|tx| parcels::pack(tx, fair.giver.id, asked.id, later(8))).is_err());
    }

    fn a_parcel_waits_for_the_frost_date_and_for_a_pause_of_either_farm(house: &House) {
        let fair = fair(house);
        let hold = held(house, &fair);
        let first: Day = day("2026-01-11");
        packed(house, &fair, hold, Terms { not_before: Some(first), ..TERMS });
        assert_eq!(send(house, &fair, hold).map(drop), refused(Refused::NotYet(NotYet::Frost(first))));
        let hold = held_again(house, &fair);
        packed(house, &fair, hold, TERMS);
        let until: Day = day("2026-01-12");
        let (giver, taker) = (fair.giver.id, fair.taker.id);
        house.write(|tx| parcels::pause(tx, taker, hold, (Some(until), "hard frost"), later(8)));
        assert!(told(house, giver)[0].contains("pauses the parcel until 2026-01-12. They write: hard frost"));
        assert_eq!(send(house, &fair, hold).map(drop), refused(Refused::NotYet(NotYet::Paused(until))));
        let others = house.try_write(|tx| parcels::pause(tx, giver, hold, (None, ""), later(8)));
        assert_eq!(others.map(drop), refused(Refused::OthersPause));
        house.write(|tx| parcels::pause(tx, taker, hold, (None, ""), later(8)));
        send(house, &fair, hold).unwrap();
    }

    fn who_bears_freezing_is_who_pays_for_what_froze(house: &House) {
        let fair = fair(house);
        for (frost, owed) in [(FrostBorneBy::Giver, 60), (FrostBorneBy::Taker, 60 + 150)] {
            let hold = held_again(house, &fair);
            packed(house, &fair, hold, Terms { frost, ..TERMS });
            let sent = send(house, &fair, hold).unwrap();
            came(house, &fair, &sent, Arrival::Frozen, 4).unwrap();
            assert_eq!(parcel(house, hold).state, ParcelState::Frozen);
            assert_eq!(owed_to_giver(house, &fair), Tenths(owed), "{frost}");
        }
    }

    fn a_parcel_that_never_came_is_owed_for_by_nobody(house: &House) {
        let fair = fair(house);
        let hold = held(house, &fair);
        packed(house, &fair, hold, Terms { frost: FrostBorneBy::Taker, ..TERMS });
        let sent = send(house, &fair, hold).unwrap();
        let some = came(house, &fair, &sent, Arrival::Lost, 2);
        assert_eq!(some.map(drop), refused(Refused::LostAndReceived));
        came(house, &fair, &sent, Arrival::Lost, 0).unwrap();
        assert_eq!((parcel(house, hold).state, owed_to_giver(house, &fair)), (ParcelState::Lost, Tenths(0)));
    }

    fn what_passed_by_hand_neither_froze_in_the_post_nor_was_lost_there(house: &House) {
        let fair = fair(house);
        let hold = held(house, &fair);
        let sent = send(house, &fair, hold).unwrap();
        assert_eq!(came(house, &fair, &sent, Arrival::Frozen, 3).map(drop), refused(Refused::NoParcel));
        came(house, &fair, &sent, Arrival::Arrived, 10).unwrap();
        assert_eq!(house.read(|tx| parcels::of(tx, hold)), None);
    }
}

/// Another ten of the same lot.
fn held_again(house: &House, fair: &Fair) -> HoldId {
    let lot = house
        .read(|tx| spareloop_store::farm_book(tx, fair.giver.id))
        .lots
        .values()
        .find(|lot| lot.in_store >= Count::from(10_u16))
        .unwrap()
        .id;
    let of = offer(house, &fair.giver, lot, 10, 1);
    let hold = ask(house, &fair.taker, of, 10);
    assert_eq!(hold.count, n(10));
    agree_hold(house, &fair.giver, hold.id);
    hold.id
}
