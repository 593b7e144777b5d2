//! The days and counts of hand-overs and receipts, where they are far off.

use crate::common::{
    Farm, House, ask, asking, day, farm, id, later, lot, n, network, new_want, now, offer, push,
};
use spareloop_domain::exchange::Arrival;
use spareloop_domain::exchange::HoldState;
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::ledger::Refusal;
use spareloop_domain::ledger::body::Recount;
use spareloop_domain::words::{Count, HandOverId, HoldId, LotId, OfferId, Purpose};

use spareloop_store::hand_overs::{self, NewHandOver, NewReceipt};
use spareloop_store::holds::{self, AskHold, Hold};
use spareloop_store::wants;
use spareloop_store::{Refused, StoreError, farm_book};

/// A giver with 40 divisions in store, 12 of them offered, and a taker.
struct Yard {
    giver: Farm,
    taker: Farm,
    lot: LotId,
    offer: OfferId,
}

impl Yard {
    fn new(house: &House) -> Self {
        let network = network(house, "Invented Loop");
        let mut giver = farm(house, &network, "Larkhusk");
        let taker = farm(house, &network, "Marrowby");
        let lot = lot(house, &mut giver, "Ember Lantern", 40);
        let offer = offer(house, &giver, lot, 12, 1);
        Self { giver, taker, lot, offer }
    }

    fn agreed(&self, house: &House, count: u16) -> HoldId {
        let hold = ask(house, &self.taker, self.offer, count).id;
        house.write(|tx| holds::agree(tx, self.giver.id, hold, "", later(1)));
        hold
    }

    fn hand_over(&self, house: &House, hold: HoldId, on: &str) -> Result<HandOverId, StoreError> {
        let id = HandOverId::new(id());
        let new = NewHandOver { id, given: n(1), on: day(on), condition: String::new() };
        house.try_write(|tx| hand_overs::hand_over(tx, self.giver.id, hold, &new, later(2)))?;
        Ok(id)
    }

    fn receive(
        &self,
        house: &House,
        id: HandOverId,
        received: Count,
        on: &str,
    ) -> Result<Hold, StoreError> {
        let new = NewReceipt {
            received,
            on: day(on),
            condition: String::new(),
            arrival: Arrival::Arrived,
        };
        house.try_write(|tx| hand_overs::receive(tx, self.taker.id, id, &new, later(3)))
    }
}

fn refused<T>(why: impl Into<Refused>) -> Result<T, StoreError> {
    Err(StoreError::Refused(why.into()))
}

on_both! {
    fn what_is_handed_over_now_cant_be_dated_before_a_recount_and_so_stay_in_store(house: &House) {
        let mut yard = Yard::new(house);
        let recount = Recount { lot: yard.lot, counted: n(40), missing: None };
        let recount = yard.giver.device.note("2026-01-05", recount);
        push(house, yard.giver.id, &[recount]);
        let hold = yard.agreed(house, 1);
        for early in ["2025-11-02", "2026-01-04"] {
            let why = Refused::HandedOverBeforeACount { on: day(early) };
            assert_eq!(yard.hand_over(house, hold, early), refused(why));
        }
        yard.hand_over(house, hold, "2026-01-09").unwrap();
        let book = house.read(|tx| farm_book(tx, yard.giver.id));
        assert_eq!(book.lots[&yard.lot].in_store, n(39));
    }

    fn a_parcel_is_not_received_before_it_was_given_nor_in_the_future(house: &House) {
        let yard = Yard::new(house);
        let hold = yard.agreed(house, 1);
        let given = yard.hand_over(house, hold, "2026-01-10").unwrap();
        // Also where nothing arrived, and so no entry is written that would be asked its day.
        for received in [n(1), n(0)] {
            let why = Refused::ReceivedBeforeGiven { on: day("2025-12-24"), given: day("2026-01-10") };
            assert_eq!(yard.receive(house, given, received, "2025-12-24"), refused(why));
            let why = Refusal::InTheFuture { on: day("2126-01-10"), today: day("2026-01-10") };
            assert_eq!(yard.receive(house, given, received, "2126-01-10"), refused(why));
        }
        assert_eq!(yard.receive(house, given, n(0), "2026-01-09").unwrap().state, HoldState::Received);
    }

    fn receipts_far_above_a_want_leave_it_readable(house: &House) {
        let yard = Yard::new(house);
        let new = new_want("Ember Lantern", 10);
        house.write(|tx| wants::make(tx, yard.taker.network, yard.taker.id, &new, now()));
        let most = Count::new(i64::from(Count::MAX)).unwrap();
        for _ in 0..2 {
            let asked = AskHold {
                want: Some(new.id),
                purpose: Purpose::Gift,
                unit_value: Tenths(0),
                ..asking(yard.offer, 1)
            };
            house.write(|tx| holds::ask(tx, yard.taker.network, yard.taker.id, &asked, now()));
            house.write(|tx| holds::agree(tx, yard.giver.id, asked.id, "", later(1)));
            let given = yard.hand_over(house, asked.id, "2026-01-10").unwrap();
            yard.receive(house, given, most, "2026-01-10").unwrap();
        }
        let want = house.read(|tx| wants::want(tx, yard.taker.network, new.id, later(4)));
        assert_eq!(want.received, most);
    }
}
