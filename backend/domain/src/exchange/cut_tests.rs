//! Physics wins, by examples and for every case.
#![allow(clippy::unwrap_used)]

use proptest::prelude::*;

use super::*;
use crate::words::uuid_v7;

const NEWEST: CutRule = CutRule::NewestFirst;

fn n(count: u32) -> Count {
    Count::new(i64::from(count)).unwrap()
}

fn hold_id(number: u8) -> HoldId {
    HoldId::new(uuid_v7(u64::from(number), [number; 10]))
}

fn offer_id(number: u8) -> OfferId {
    OfferId::new(uuid_v7(u64::from(number), [number; 10]))
}

fn hold(number: u8, count: u32, state: HoldState) -> LiveHold {
    LiveHold { hold: hold_id(number), count: n(count), asked_at: Moment(i64::from(number)), state }
}

fn offer(number: u8, count: u32, smallest: u32, holds: Vec<LiveHold>) -> OfferedLot {
    OfferedLot {
        offer: offer_id(number),
        state: OfferState::Open,
        offered_at: Moment(i64::from(number)),
        count: n(count),
        smallest_parcel: n(smallest),
        holds,
    }
}

/// The offers as they stand once the cuts are made.
fn after(offers: &[OfferedLot], cuts: &[Cut]) -> Vec<OfferedLot> {
    let mut offers = offers.to_vec();
    for cut in cuts {
        match *cut {
            Cut::Offer { offer, from, to } => {
                let offer = offers.iter_mut().find(|other| other.offer == offer).unwrap();
                assert_eq!(offer.count, from);
                offer.count = to;
            }
            Cut::Hold { hold, offer, keeps } => {
                let offer = offers.iter_mut().find(|other| other.offer == offer).unwrap();
                let hold = offer.holds.iter_mut().find(|other| other.hold == hold).unwrap();
                let next = hold.state.after(crate::exchange::HoldAct::CutByHouse).unwrap();
                match keeps {
                    Some(rest) => hold.count = rest,
                    None => hold.state = next,
                }
            }
        }
    }
    offers
}

#[test]
fn a_lot_lost_to_rot_after_a_hold_cuts_the_newest_hold_first() {
    let holds = vec![hold(1, 6, HoldState::Agreed), hold(2, 6, HoldState::Agreed)];
    let offers = [offer(1, 12, 3, holds)];
    assert_eq!(
        cut_for_loss(n(10), &offers, NEWEST),
        [
            Cut::Offer { offer: offer_id(1), from: n(12), to: n(10) },
            Cut::Hold { hold: hold_id(2), offer: offer_id(1), keeps: Some(n(4)) },
        ]
    );
}

#[test]
fn what_nobody_holds_shrinks_before_any_hold_is_touched() {
    let offers = [
        offer(1, 8, 1, vec![hold(1, 5, HoldState::Held)]),
        offer(2, 4, 1, vec![hold(2, 2, HoldState::Held)]),
    ];
    assert_eq!(
        cut_for_loss(n(9), &offers, NEWEST),
        [
            Cut::Offer { offer: offer_id(1), from: n(8), to: n(7) },
            Cut::Offer { offer: offer_id(2), from: n(4), to: n(2) },
        ]
    );
}

#[test]
fn a_rest_below_the_smallest_parcel_is_free_for_the_next_in_line() {
    let offers = [offer(1, 10, 8, vec![hold(1, 10, HoldState::Agreed)])];
    let cuts = cut_for_loss(n(7), &offers, NEWEST);
    assert_eq!(
        cuts,
        [
            Cut::Offer { offer: offer_id(1), from: n(10), to: n(7) },
            Cut::Hold { hold: hold_id(1), offer: offer_id(1), keeps: None },
        ]
    );
    assert_eq!(after(&offers, &cuts)[0].unheld(), n(7));
}

#[test]
fn what_was_handed_over_is_never_cut() {
    let holds = vec![hold(1, 6, HoldState::Agreed), hold(2, 6, HoldState::HandedOver)];
    let offers = [offer(1, 12, 1, holds)];
    assert_eq!(
        cut_for_loss(n(2), &offers, NEWEST),
        [
            Cut::Offer { offer: offer_id(1), from: n(12), to: n(8) },
            Cut::Hold { hold: hold_id(1), offer: offer_id(1), keeps: Some(n(2)) },
        ]
    );
}

#[test]
fn a_withdrawn_offer_still_owes_what_was_agreed_under_it() {
    let mut withdrawn = offer(1, 12, 1, vec![hold(1, 5, HoldState::Agreed)]);
    withdrawn.state = OfferState::Withdrawn;
    assert_eq!(promised(std::slice::from_ref(&withdrawn)), n(5));
    assert!(cut_for_loss(n(5), std::slice::from_ref(&withdrawn), NEWEST).is_empty());
    assert_eq!(cut_for_loss(n(4), &[withdrawn], NEWEST).len(), 2);
}

#[test]
fn by_shares_every_hold_gives_up_its_part_and_the_newest_what_is_left_over() {
    let holds = vec![
        hold(1, 6, HoldState::Agreed),
        hold(2, 3, HoldState::Agreed),
        hold(3, 3, HoldState::Held),
    ];
    let offers = [offer(1, 12, 2, holds)];
    let cuts = cut_for_loss(n(7), &offers, CutRule::ByShares);
    assert_eq!(
        cuts,
        [
            Cut::Offer { offer: offer_id(1), from: n(12), to: n(7) },
            // 5 of 12 are missing: 1.25, 1.25 and 2.5; the one left over is the newest's.
            Cut::Hold { hold: hold_id(3), offer: offer_id(1), keeps: None },
            Cut::Hold { hold: hold_id(2), offer: offer_id(1), keeps: Some(n(2)) },
            Cut::Hold { hold: hold_id(1), offer: offer_id(1), keeps: Some(n(4)) },
        ]
    );
}

fn any_offers() -> impl Strategy<Value = Vec<OfferedLot>> {
    let state = prop::sample::select(HoldState::ALL.to_vec());
    let holds = prop::collection::vec((0_u32..12, 0_i64..6, state), 0..5);
    let offer_state = prop::sample::select(OfferState::ALL.to_vec());
    let one = (holds, 0_u32..15, 0_i64..4, 1_u32..6, offer_state);
    prop::collection::vec(one, 0..4).prop_map(|offers| {
        let mut number = 0;
        offers
            .into_iter()
            .zip(1..)
            .map(|((holds, spare, offered_at, smallest, state), index)| {
                let holds: Vec<LiveHold> = holds
                    .into_iter()
                    .map(|(count, asked_at, state)| {
                        number += 1;
                        LiveHold { asked_at: Moment(asked_at), ..hold(number, count, state) }
                    })
                    .collect();
                let bound: Count = holds
                    .iter()
                    .filter(|h| h.state.is_live() || h.state.has_changed_hands())
                    .map(|h| h.count)
                    .sum();
                let mut made = offer(index, bound.get() + spare, smallest, holds);
                made.state = state;
                made.offered_at = Moment(offered_at);
                made
            })
            .collect()
    })
}

fn any_rule() -> impl Strategy<Value = CutRule> {
    prop::sample::select(CutRule::ALL.to_vec())
}

proptest! {
    #[test]
    fn by_shares_no_hold_gives_up_a_whole_unit_more_or_less_than_its_part(
        offers in any_offers(), in_store in 0_u32..60,
    ) {
        let live = live_newest_first(&offers);
        let all: Count = live.iter().map(|(_, hold)| hold.count).sum();
        let missing = all.less(n(in_store));
        for ((_, hold), gone) in goes(&live, missing, CutRule::ByShares) {
            let part = u64::from(hold.count.get()) * u64::from(missing.get());
            let gone = u64::from(gone.get()) * u64::from(all.get());
            prop_assert!(gone.abs_diff(part) < u64::from(all.get()));
        }
        let gone = goes(&live, missing, CutRule::ByShares);
        prop_assert_eq!(gone.into_iter().map(|(_, gone)| gone).sum::<Count>(), missing);
    }

    #[test]
    fn after_the_cuts_no_more_is_promised_than_is_in_store(
        offers in any_offers(), in_store in 0_u32..60, rule in any_rule(),
    ) {
        let cuts = cut_for_loss(n(in_store), &offers, rule);
        let left = promised(&after(&offers, &cuts));
        prop_assert!(left <= n(in_store));
        // And no more is cut than must be, but for a rest of a withdrawn offer that nobody can hold.
        if offers.iter().all(|o| matches!(o.state, OfferState::Open | OfferState::SetAside)) {
            prop_assert_eq!(left, promised(&offers).min(n(in_store)));
        }
        prop_assert!(promised(&offers) > n(in_store) || cuts.is_empty());
    }

    #[test]
    fn an_older_hold_is_whole_while_a_newer_one_stands(
        offers in any_offers(), in_store in 0_u32..60,
    ) {
        let cuts = cut_for_loss(n(in_store), &offers, NEWEST);
        let cut: Vec<HoldId> = cuts
            .iter()
            .filter_map(|cut| match cut {
                Cut::Hold { hold, .. } => Some(*hold),
                Cut::Offer { .. } => None,
            })
            .collect();
        let newest = live_newest_first(&offers);
        let order: Vec<HoldId> = newest.iter().map(|(_, hold)| hold.hold).collect();
        prop_assert_eq!(&order[..cut.len()], &cut[..]);
        if !cut.is_empty() {
            let whole: Count = offers.iter().map(OfferedLot::unheld).sum();
            let live: Count = newest.iter().map(|(_, hold)| hold.count).sum();
            prop_assert!(live > n(in_store), "holds are cut only once nothing unheld is left");
            prop_assert_eq!(whole.plus(live), promised(&offers));
        }
    }

    #[test]
    fn a_hold_that_goes_on_still_reaches_the_smallest_parcel(
        offers in any_offers(), in_store in 0_u32..60, rule in any_rule(),
    ) {
        for cut in cut_for_loss(n(in_store), &offers, rule) {
            if let Cut::Hold { offer, keeps: Some(rest), .. } = cut {
                let offer = offers.iter().find(|other| other.offer == offer).unwrap();
                prop_assert!(rest >= offer.smallest_parcel && !rest.is_zero());
            }
        }
    }
}
