//! At a swap day: what was brought without having been planned, and what passes on the spot. On both
//! databases.

use std::collections::{BTreeMap, BTreeSet};

use crate::common::fair::{receiving, refused, told};
use crate::common::ring::{Ring, ring};
use crate::common::{House, Network, day, farm, id, later, n, now};
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::exchange::round::Rules;
use spareloop_domain::exchange::{
    AnswerAct, HoldState, Limit, OfferState, ProposalKind, ProposalState,
};
use spareloop_domain::words::{
    FarmId, HandOverId, HoldId, LotId, OfferId, ProposalId, Purpose, UnitKind,
};
use spareloop_store::hand_overs::{self, NewHandOver};
use spareloop_store::holds::Hold;
use spareloop_store::offers::{self, Offer};
use spareloop_store::walk_ups::{self, Brought, OnTheSpot};
use spareloop_store::{Missing, Refused, StoreError, farm_book, limits, owed, proposals};

/// A swap day of three farms that takes place.
fn swap_day(house: &House) -> (Ring, ProposalId) {
    let ring = ring(house);
    let rules = Rules::usual_swap_day("2026-02-14".parse().unwrap(), "the old barn".into());
    let of = ring.proposed(house, &rules, ProposalKind::SwapDay, ring.lines(6));
    for farm in &ring.farms {
        house.write(|tx| {
            let act = AnswerAct::AcceptByPart;
            proposals::answer(tx, ring.network.id, farm.id, of.id, act, later(5))
        });
    }
    let none = BTreeSet::new();
    let settling =
        house.read(|tx| proposals::settling(tx, ring.network.id, of.id, &none, later(6)));
    let kept = settling.planned.iter().map(|line| (line.line, line.most)).collect();
    let agreed = house.write(|tx| proposals::settle(tx, &settling, &kept, later(7)));
    assert_eq!(agreed.state, ProposalState::Agreed);
    (ring, of.id)
}

fn brought(variety: &str) -> Brought {
    Brought {
        offer: OfferId::new(id()),
        lot: LotId::new(id()),
        variety: variety.parse().unwrap(),
        unit: UnitKind::Division,
        count: n(7),
    }
}

fn bring(
    house: &House,
    network: &Network,
    farm: FarmId,
    day: ProposalId,
    new: &Brought,
) -> Result<Offer, StoreError> {
    house.try_write(|tx| walk_ups::bring(tx, (network.id, farm), day, new, later(10)))
}

fn on_the_spot(offer: OfferId, taker: FarmId, count: u16) -> OnTheSpot {
    OnTheSpot {
        hold: HoldId::new(id()),
        hand_over: NewHandOver {
            id: HandOverId::new(id()),
            given: n(count),
            on: day("2026-01-10"),
            condition: "firm".to_owned(),
        },
        offer,
        taker,
        purpose: Purpose::Swap,
        unit_value: Tenths(12),
        unit_price: None,
    }
}

fn pass(
    house: &House,
    network: &Network,
    giver: FarmId,
    new: &OnTheSpot,
) -> Result<Hold, StoreError> {
    house.try_write(|tx| walk_ups::pass(tx, (network.id, giver), new, later(11)))
}

on_both! {
    fn what_is_brought_enters_the_stock_book_and_goes_home_again_when_the_day_is_over(house: &House) {
        let (ring, day) = swap_day(house);
        // A farm that had no part in it walks up as well.
        let fern = farm(house, &ring.network, "Fernside");
        let new = brought("Wren Candle");
        let offer = bring(house, &ring.network, fern.id, day, &new).unwrap();
        assert_eq!((offer.count, offer.state), (n(7), OfferState::Open));
        let book = house.read(|tx| farm_book(tx, fern.id));
        assert_eq!(book.lots[&new.lot].in_store, n(7));
        assert_eq!(house.read(|tx| walk_ups::of(tx, day)), [new.offer]);
        let taker = ring.farms[0].id;
        pass(house, &ring.network, fern.id, &on_the_spot(new.offer, taker, 3)).unwrap();

        let none = BTreeSet::new();
        let settling =
            house.read(|tx| proposals::settling(tx, ring.network.id, day, &none, later(12)));
        let kept: BTreeMap<_, _> = settling.planned.iter().map(|it| (it.line, it.most)).collect();
        house.write(|tx| proposals::close(tx, &settling, &none, &kept, later(13)));
        let left = house.read(|tx| offers::offer(tx, ring.network.id, new.offer, later(14)));
        assert_eq!((left.state, left.passed), (OfferState::Withdrawn, n(3)));
        let late = bring(house, &ring.network, fern.id, day, &brought("Wren Candle"));
        assert_eq!(late.map(drop), refused(Refused::NoSwapDayNow));
        house.store().check().unwrap();
    }

    fn nothing_is_brought_to_a_loop_or_to_a_day_that_does_not_take_place_yet(house: &House) {
        let ring = ring(house);
        let of = ring.loop_of(house, 6);
        let to_loop = bring(house, &ring.network, ring.farms[0].id, of.id, &brought("Wren Candle"));
        assert_eq!(to_loop.map(drop), Err(Missing::Proposal.into()));
        let rules = Rules::usual_swap_day("2026-02-14".parse().unwrap(), String::new());
        let open = ring.proposed(house, &rules, ProposalKind::SwapDay, ring.lines(4));
        let early = bring(house, &ring.network, ring.farms[0].id, open.id, &brought("Wren Candle"));
        assert_eq!(early.map(drop), refused(Refused::NoSwapDayNow));
    }

    fn what_passes_on_the_spot_is_owed_once_its_taker_confirms_it(house: &House) {
        let (ring, _) = swap_day(house);
        let (giver, taker) = (ring.farms[0].id, ring.farms[1].id);
        let new = on_the_spot(ring.offers[0], taker, 3);
        let hold = pass(house, &ring.network, giver, &new).unwrap();
        assert_eq!((hold.state, hold.count), (HoldState::HandedOver, n(3)));
        let life: Vec<HoldState> = hold.steps.iter().map(|step| step.state).collect();
        assert_eq!(life, [HoldState::Held, HoldState::Agreed, HoldState::HandedOver]);
        assert!(told(house, taker)[0].contains("handed 3 of 'Ember Lantern' over to you"));
        let book = house.read(|tx| farm_book(tx, giver));
        assert_eq!(book.lots[&ring.lots[0]].in_store, n(17));
        assert_eq!(house.read(|tx| owed::balances(tx, ring.network.id)).len(), 0);
        let again = pass(house, &ring.network, giver, &new);
        assert!(again.is_err(), "the same ids pass nothing twice: {again:?}");
        house.write(|tx| hand_overs::receive(tx, taker, new.hand_over.id, &receiving(3), later(12)));
        let owed = house.read(|tx| owed::balances(tx, ring.network.id));
        assert_eq!(owed[&giver], Tenths(36));
    }

    fn what_passes_on_the_spot_keeps_to_the_rules_of_every_hold(house: &House) {
        let (ring, _) = swap_day(house);
        let (giver, taker) = (ring.farms[0].id, ring.farms[1].id);
        let of = ring.offers[0];
        let pass = |by: FarmId, new: &OnTheSpot| pass(house, &ring.network, by, new).map(drop);
        // 10 were offered and 6 of them are held for the swap day.
        assert!(matches!(pass(giver, &on_the_spot(of, taker, 5)), Err(StoreError::Conflict(_))));
        assert!(matches!(
            pass(giver, &on_the_spot(of, taker, 1)),
            Err(StoreError::Refused(Refused::BelowSmallestParcel { .. }))
        ));
        assert_eq!(pass(giver, &on_the_spot(of, giver, 3)), refused(Refused::OwnOffer));
        assert!(matches!(
            pass(taker, &on_the_spot(of, giver, 3)),
            Err(StoreError::Refused(Refused::OnlyBy(_)))
        ));
        let priced = OnTheSpot { unit_price: Some("1 EUR".parse().unwrap()), ..on_the_spot(of, taker, 3) };
        assert_eq!(pass(giver, &priced), refused(Refused::PriceWithoutSale));
        let none = Some(Limit::try_from(0).unwrap());
        house.write(|tx| limits::set(tx, ring.network.id, taker, none, now()));
        assert!(matches!(
            pass(giver, &on_the_spot(of, taker, 3)),
            Err(StoreError::Refused(Refused::Limit(_)))
        ));
        let untouched = house.read(|tx| offers::offer(tx, ring.network.id, of, later(12)));
        assert_eq!((untouched.held, untouched.passed), (n(6), n(0)));
    }
}
