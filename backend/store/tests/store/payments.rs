//! Sales, whose money both sides confirm, and starter gifts for beginners. On both databases.

use crate::common::fair::{Fair, agree, fair, giving, hold_of, receiving, refused, told};
use crate::common::{House, ask, asking, day, id, later, lose, n, new_offer, offer};
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::exchange::{HoldState, Money, OpenTo, PaymentAct, PaymentState};
use spareloop_domain::ledger::Body;
use spareloop_domain::words::{HoldId, OfferId, PaymentId, Purpose};
use spareloop_store::holds::{self, AskHold, Hold};
use spareloop_store::offers::{self, NewOffer};
use spareloop_store::payments::{self, NewPayment, Payment};
use spareloop_store::{Missing, Refused, StoreError, hand_overs, ledger, owed};

fn money(text: &str) -> Money {
    text.parse().unwrap()
}

fn sale(of: OfferId, count: u16) -> AskHold {
    AskHold {
        purpose: Purpose::Sale,
        unit_value: Tenths(0),
        unit_price: Some(money("2.50 EUR")),
        ..asking(of, count)
    }
}

fn ask_for(house: &House, fair: &Fair, asked: &AskHold) -> Result<Hold, StoreError> {
    house.try_write(|tx| holds::ask(tx, fair.network.id, fair.taker.id, asked, later(1)))
}

/// Ten sold at 2.50 each, agreed.
fn sold(house: &House, fair: &Fair) -> HoldId {
    let of = offer(house, &fair.giver, fair.lot, 20, 1);
    let hold = ask_for(house, fair, &sale(of, 10)).unwrap();
    agree(house, &fair.giver, hold.id);
    hold.id
}

fn paid(amount: &str) -> NewPayment {
    NewPayment { id: PaymentId::new(id()), amount: money(amount), on: day("2026-01-10") }
}

fn noted(house: &House, fair: &Fair, hold: HoldId) -> PaymentId {
    let new = paid("25 EUR");
    house.write(|tx| payments::note(tx, fair.taker.id, hold, &new, later(5)));
    new.id
}

fn all(house: &House, hold: HoldId) -> Vec<Payment> {
    house.read(|tx| payments::of(tx, hold))
}

on_both! {
    fn a_sale_has_a_price_and_nothing_of_it_enters_the_owed_book(house: &House) {
        let fair = fair(house);
        let hold = sold(house, &fair);
        assert_eq!(hold_of(house, &fair.taker, hold).unit_price, Some(money("2.50 EUR")));
        let handed = house.write(|tx| hand_overs::hand_over(tx, fair.giver.id, hold, &giving(10), later(6)));
        let id = handed.hand_over.unwrap().id;
        house.write(|tx| hand_overs::receive(tx, fair.taker.id, id, &receiving(10), later(7)));
        assert_eq!(house.read(|tx| owed::balances(tx, fair.network.id)).len(), 0);
        let entries = house.read(|tx| ledger::all_entries(tx, fair.giver.id));
        let sent = entries.iter().rev().find_map(|entry| match entry.read_body() {
            Ok(Body::Send(send)) => Some(send),
            _ => None,
        });
        assert_eq!(sent.unwrap().purpose, Purpose::Sale);
    }

    fn a_price_belongs_to_a_sale_and_to_nothing_else(house: &House) {
        let fair = fair(house);
        let of = offer(house, &fair.giver, fair.lot, 20, 1);
        let none = AskHold { unit_price: None, ..sale(of, 2) };
        assert_eq!(ask_for(house, &fair, &none).map(drop), refused(Refused::SaleWithoutPrice));
        let both = AskHold { unit_value: Tenths(10), ..sale(of, 2) };
        assert_eq!(ask_for(house, &fair, &both).map(drop), refused(Refused::SaleWithoutPrice));
        let swap = AskHold { unit_price: Some(money("1 EUR")), ..asking(of, 2) };
        assert_eq!(ask_for(house, &fair, &swap).map(drop), refused(Refused::PriceWithoutSale));
    }

    fn what_a_loss_leaves_of_a_sale_keeps_its_price(house: &House) {
        let mut fair = fair(house);
        let hold = sold(house, &fair);
        let lot = fair.lot;
        lose(house, &mut fair.giver, lot, 34);
        assert_eq!(hold_of(house, &fair.taker, hold).state, HoldState::Cut);
        let rest = house.read(|tx| holds::live(tx, fair.taker.id, later(6)));
        assert_eq!((rest[0].count, rest[0].unit_price), (n(6), Some(money("2.50 EUR"))));
    }

    fn money_is_on_record_once_both_farms_say_so(house: &House) {
        let fair = fair(house);
        let hold = sold(house, &fair);
        let payment = noted(house, &fair, hold);
        assert_eq!(all(house, hold)[0].state, PaymentState::Noted);
        let heard = told(house, fair.giver.id);
        assert!(heard[0].contains("Marrowby noted that 25 EUR passed"), "{heard:?}");
        let own = house.try_write(|tx| {
            payments::act(tx, fair.taker.id, payment, PaymentAct::ConfirmByOther, later(6))
        });
        assert_eq!(own.map(drop), refused(Refused::OnlyBy(PaymentAct::ConfirmByOther.by())));
        house.write(|tx| payments::act(tx, fair.giver.id, payment, PaymentAct::ConfirmByOther, later(7)));
        let found = all(house, hold).remove(0);
        assert_eq!((found.state, found.amount), (PaymentState::Confirmed, money("25 EUR")));
        assert!(told(house, fair.taker.id)[0].contains("was confirmed by Larkhusk"));
    }

    fn money_is_noted_for_what_is_agreed_and_by_its_two_farms(house: &House) {
        let fair = fair(house);
        let of = offer(house, &fair.giver, fair.lot, 20, 1);
        let held = ask_for(house, &fair, &sale(of, 3)).unwrap().id;
        let early = house.try_write(|tx| payments::note(tx, fair.taker.id, held, &paid("1 EUR"), later(5)));
        assert_eq!(early.map(drop), refused(Refused::NothingToPay(HoldState::Held)));
        let hold = sold(house, &fair);
        let payment = noted(house, &fair, hold);
        let other = crate::common::farm(house, &fair.network, "Nettlecombe");
        let foreign = house.try_write(|tx| payments::note(tx, other.id, hold, &paid("1 EUR"), later(5)));
        assert_eq!(foreign.map(drop), Err(Missing::Hold.into()));
        let foreign = house.try_write(|tx| {
            payments::act(tx, other.id, payment, PaymentAct::ConfirmByOther, later(6))
        });
        assert_eq!(foreign.map(drop), Err(Missing::Payment.into()));
        let late = NewPayment { on: day("2026-01-20"), ..paid("1 EUR") };
        let future = house.try_write(|tx| payments::note(tx, fair.taker.id, hold, &late, later(5)));
        assert!(matches!(future, Err(StoreError::Refused(Refused::Book(_)))), "{future:?}");
    }

    fn every_state_of_a_payment_and_every_act(house: &House) {
        let fair = fair(house);
        let hold = sold(house, &fair);
        let by = |act: PaymentAct| match act {
            PaymentAct::WithdrawByNoter => fair.taker.id,
            PaymentAct::ConfirmByOther | PaymentAct::DenyByOther => fair.giver.id,
        };
        let done = |payment, act| house.try_write(|tx| payments::act(tx, by(act), payment, act, later(9)));
        for state in PaymentState::ALL {
            for act in PaymentAct::ALL {
                let payment = noted(house, &fair, hold);
                let before = match state {
                    PaymentState::Noted => None,
                    PaymentState::Confirmed => Some(PaymentAct::ConfirmByOther),
                    PaymentState::Denied => Some(PaymentAct::DenyByOther),
                    PaymentState::Withdrawn => Some(PaymentAct::WithdrawByNoter),
                };
                before.map(|act| done(payment, act).unwrap());
                let became = done(payment, *act).map(drop);
                let now = all(house, hold).into_iter().find(|one| one.id == payment).unwrap().state;
                match state.after(*act) {
                    Ok(next) => assert_eq!((became, now), (Ok(()), next)),
                    Err(why) => assert_eq!((became, now), (refused(why), *state)),
                }
            }
        }
    }

    fn a_starter_gift_goes_to_a_beginner_as_a_gift_and_no_round_takes_it(house: &House) {
        let fair = fair(house);
        let new = NewOffer { open_to: OpenTo::Beginners, ..new_offer(fair.lot, 20, 1) };
        let of = house.write(|tx| offers::make(tx, fair.network.id, fair.giver.id, &new, later(0))).id;
        assert_eq!(house.read(|tx| offers::for_swaps(tx, fair.network.id, 10, later(1))), []);
        assert_eq!(house.read(|tx| offers::board(tx, fair.network.id, None, 10, later(1))).len(), 1);
        assert_eq!(ask_for(house, &fair, &asking(of, 3)).map(drop), refused(Refused::OnlyAsAGift));
        let gift = |count| AskHold { purpose: Purpose::Gift, unit_value: Tenths(0), ..asking(of, count) };
        ask_for(house, &fair, &gift(3)).unwrap();

        // Whoever has handed something over is no beginner any more, and who joined long ago neither.
        let mut taker = fair.taker;
        let own = crate::common::lot(house, &mut taker, "Dusk Ferry", 5);
        let its = offer(house, &taker, own, 5, 1);
        let other = crate::common::farm(house, &fair.network, "Nettlecombe");
        let hold = ask(house, &other, its, 2);
        agree(house, &taker, hold.id);
        house.write(|tx| hand_overs::hand_over(tx, taker.id, hold.id, &giving(2), later(6)));
        let fair = Fair { taker, ..fair };
        assert_eq!(ask_for(house, &fair, &gift(3)).map(drop), refused(Refused::NotABeginner));
        let long_after = AskHold { lapses_at: later(2 * 366 * 86_400 + 60), ..gift(1) };
        let late = house.try_write(|tx| {
            holds::ask(tx, fair.network.id, other.id, &long_after, later(2 * 366 * 86_400))
        });
        assert_eq!(late.map(drop), refused(Refused::NotABeginner));
    }
}
