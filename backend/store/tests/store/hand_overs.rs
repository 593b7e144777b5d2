//! From an agreed hold to a receipt: what both ledgers and the owed book say then.

use crate::common::fair::{
    agree, fair, giving, hold_of, receiving, refused, seen, seen_want, told, want,
};
use crate::common::{Farm, House, ask, asking, day, id, later, lose, n, now, offer, push};
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::exchange::{HoldState, OfferState, Party, WantState};
use spareloop_domain::ledger::Refusal;
use spareloop_domain::ledger::body::VarietyNote;
use spareloop_domain::ledger::book::{Flow, Origin};
use spareloop_domain::words::{HandOverId, Purpose, UnitKind, VarietyId};
use spareloop_store::hand_overs::{self, NewHandOver};
use spareloop_store::holds::{self, AskHold};
use spareloop_store::{Missing, Refused, StoreError, farm_book, owed};

on_both! {
    fn both_ledgers_and_the_owed_book_are_right_after_a_receipt(house: &House) {
        let fair = fair(house);
        let want = want(house, &fair.taker, 10);
        let offer = offer(house, &fair.giver, fair.lot, 12, 3);
        let asked = AskHold { want: Some(want), ..asking(offer, 10) };
        house.write(|tx| holds::ask(tx, fair.network.id, fair.taker.id, &asked, now()));
        assert_eq!(seen_want(house, &fair.taker, want).state, WantState::Filled);
        agree(house, &fair.giver, asked.id);
        let given = giving(10);
        house.write(|tx| hand_overs::hand_over(tx, fair.giver.id, asked.id, &given, later(2)));
        let after = seen(house, &fair.giver, offer, 2);
        assert_eq!((after.held, after.passed, after.free()), (n(0), n(10), n(2)));
        let done = house.write(|tx| {
            hand_overs::receive(tx, fair.taker.id, given.id, &receiving(9), later(3))
        });
        assert_eq!(done.state, HoldState::Received);
        let receipt = done.hand_over.unwrap().receipt.unwrap();

        let theirs = house.read(|tx| farm_book(tx, fair.giver.id));
        assert_eq!(theirs.lots[&fair.lot].in_store, n(30));
        assert!(theirs.flows.values().all(Flow::agrees));
        let mine = house.read(|tx| farm_book(tx, fair.taker.id));
        let lot = &mine.lots[&receipt.lot.unwrap()];
        assert_eq!((lot.in_store, lot.unit), (n(9), UnitKind::Division));
        assert_eq!(mine.varieties[&lot.variety].name.as_str(), "Ember Lantern");
        let Origin::Received { farm, lot: from_lot, hand_over, .. } = &lot.origin else {
            panic!("{:?}", lot.origin);
        };
        assert_eq!((*farm, *from_lot), (Some(fair.giver.id), Some(fair.lot)));
        assert_eq!(*hand_over, Some(given.id));

        let balances = house.read(|tx| owed::balances(tx, fair.network.id));
        assert_eq!(balances[&fair.giver.id], Tenths(135), "9 received at 1.5 each");
        assert_eq!(balances[&fair.taker.id], Tenths(-135));
        let postings =
            house.read(|tx| owed::postings(tx, fair.network.id, fair.taker.id, 10));
        assert_eq!(postings.len(), 1);
        assert!(told(house, fair.giver.id)[0].contains("You gave 10, they counted 9"));
        let want = seen_want(house, &fair.taker, want);
        assert_eq!((want.received, want.open(), want.state), (n(9), n(1), WantState::Open));
    }

    fn a_variety_that_the_taker_knows_by_another_spelling_is_not_named_again(house: &House) {
        let mut fair = fair(house);
        let known = VarietyId::new(id());
        let mut note = VarietyNote::naming(known, "Sunset Lamp".parse().unwrap());
        note.aliases = Some(vec!["‘EMBER  lantern’".parse().unwrap()]);
        let note = fair.taker.device.note("2025-11-01", note);
        push(house, fair.taker.id, &[note]);
        let offer = offer(house, &fair.giver, fair.lot, 12, 3);
        let hold = ask(house, &fair.taker, offer, 4);
        agree(house, &fair.giver, hold.id);
        let given = giving(4);
        house.write(|tx| hand_overs::hand_over(tx, fair.giver.id, hold.id, &given, later(2)));
        let done = house.write(|tx| {
            hand_overs::receive(tx, fair.taker.id, given.id, &receiving(4), later(3))
        });
        let book = house.read(|tx| farm_book(tx, fair.taker.id));
        let lot = done.hand_over.unwrap().receipt.unwrap().lot.unwrap();
        assert_eq!(book.lots[&lot].variety, known);
        assert_eq!(book.varieties.len(), 1);
    }

    fn a_parcel_that_never_arrived_owes_nothing_and_enters_no_ledger(house: &House) {
        let fair = fair(house);
        let offer = offer(house, &fair.giver, fair.lot, 12, 3);
        let hold = ask(house, &fair.taker, offer, 4);
        agree(house, &fair.giver, hold.id);
        let given = giving(3);
        house.write(|tx| hand_overs::hand_over(tx, fair.giver.id, hold.id, &given, later(2)));
        assert_eq!(seen(house, &fair.giver, offer, 2).free(), n(9), "what wasn't given is free");
        house.write(|tx| hand_overs::receive(tx, fair.taker.id, given.id, &receiving(0), later(3)));
        assert!(house.read(|tx| farm_book(tx, fair.taker.id)).lots.is_empty());
        assert!(house.read(|tx| owed::balances(tx, fair.network.id)).is_empty());
        let twice = house.try_write(|tx| {
            hand_overs::receive(tx, fair.taker.id, given.id, &receiving(3), later(4))
        });
        assert!(matches!(twice, Err(StoreError::Refused(Refused::State(_)))));
    }

    fn what_may_not_be_handed_over_leaves_both_ledgers_alone(house: &House) {
        let fair = fair(house);
        let offer = offer(house, &fair.giver, fair.lot, 12, 3);
        let hold = ask(house, &fair.taker, offer, 4);
        let hand_over = |farm: &Farm, new: NewHandOver| {
            house.try_write(|tx| hand_overs::hand_over(tx, farm.id, hold.id, &new, later(2)))
        };
        let early = hand_over(&fair.giver, giving(4));
        assert!(matches!(early, Err(StoreError::Refused(Refused::State(_)))), "not agreed yet");
        agree(house, &fair.giver, hold.id);
        let over = Refused::GivenMoreThanHeld { given: n(5), held: n(4) };
        assert_eq!(hand_over(&fair.giver, giving(5)), refused(over));
        assert_eq!(hand_over(&fair.taker, giving(4)), refused(Refused::OnlyBy(Party::Giver)));
        let nothing = Refused::Nothing { what: "the count given" };
        assert_eq!(hand_over(&fair.giver, giving(0)), refused(nothing));
        let future = NewHandOver { on: day("2026-02-10"), ..giving(4) };
        assert!(matches!(
            hand_over(&fair.giver, future),
            Err(StoreError::Refused(Refused::Book(Refusal::InTheFuture { .. })))
        ));
        let before = NewHandOver { on: day("2025-10-01"), ..giving(4) };
        assert!(matches!(
            hand_over(&fair.giver, before),
            Err(StoreError::Refused(Refused::Book(_)))
        ));
        assert_eq!(house.read(|tx| farm_book(tx, fair.giver.id)).lots[&fair.lot].in_store, n(40));
        let stranger = house.try_write(|tx| {
            hand_overs::receive(tx, fair.taker.id, HandOverId::new(id()), &receiving(1), later(3))
        });
        assert_eq!(stranger, Err(Missing::HandOver.into()));
    }

    fn a_gift_skips_the_owed_book(house: &House) {
        let fair = fair(house);
        let offer = offer(house, &fair.giver, fair.lot, 12, 3);
        let asked =
            AskHold { purpose: Purpose::Gift, unit_value: Tenths(0), ..asking(offer, 12) };
        house.write(|tx| holds::ask(tx, fair.network.id, fair.taker.id, &asked, now()));
        agree(house, &fair.giver, asked.id);
        let given = giving(12);
        house.write(|tx| hand_overs::hand_over(tx, fair.giver.id, asked.id, &given, later(2)));
        assert_eq!(seen(house, &fair.giver, offer, 2).state, OfferState::Closed, "all gone");
        house.write(|tx| hand_overs::receive(tx, fair.taker.id, given.id, &receiving(12), later(3)));
        assert!(house.read(|tx| owed::balances(tx, fair.network.id)).is_empty());
    }

    fn what_was_handed_over_is_never_cut(house: &House) {
        let mut fair = fair(house);
        let offer = offer(house, &fair.giver, fair.lot, 20, 1);
        let gone = ask(house, &fair.taker, offer, 10);
        agree(house, &fair.giver, gone.id);
        house.write(|tx| {
            hand_overs::hand_over(tx, fair.giver.id, gone.id, &giving(10), later(2))
        });
        lose(house, &mut fair.giver, fair.lot, 30);
        assert_eq!(hold_of(house, &fair.taker, gone.id).state, HoldState::HandedOver);
        let after = seen(house, &fair.giver, offer, 2);
        assert_eq!((after.count, after.passed, after.state), (n(10), n(10), OfferState::Closed));
    }
}
