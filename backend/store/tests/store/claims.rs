//! Claims on what arrived, on both databases: until when, answered by the giver, decided on record, booked.

use crate::common::fair::{Fair, agree, fair, giving, receiving, refused, told};
use crate::common::{House, ask, asking, id, later, n, offer};
use spareloop_domain::exchange::claim::{ANSWER_DAYS, CONDITION_DAYS, NO_EYE_DAYS};
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::exchange::{ClaimAct, ClaimKind, ClaimState, Party};
use spareloop_domain::words::{ClaimId, HandOverId, Purpose};
use spareloop_store::claims::{self, Claim, NewClaim};
use spareloop_store::holds::AskHold;
use spareloop_store::proposals::Viewer;
use spareloop_store::{Missing, Refused, StoreError, hand_overs, holds, limits, owed};

const DAY: i64 = 86_400;

/// Ten units passed on and received, worth 1.5 each.
fn passed(house: &House, fair: &Fair, asked: AskHold) -> HandOverId {
    house.write(|tx| holds::ask(tx, fair.network.id, fair.taker.id, &asked, later(1)));
    agree(house, &fair.giver, asked.id);
    let new = hand_overs::NewHandOver { id: HandOverId::new(id()), ..giving(10) };
    house.write(|tx| hand_overs::hand_over(tx, fair.giver.id, asked.id, &new, later(2)));
    house.write(|tx| hand_overs::receive(tx, fair.taker.id, new.id, &receiving(10), later(3)));
    new.id
}

fn swapped(house: &House, fair: &Fair) -> HandOverId {
    let of = offer(house, &fair.giver, fair.lot, 20, 1);
    passed(house, fair, AskHold { unit_value: Tenths(15), ..asking(of, 10) })
}

fn try_claim(
    house: &House,
    fair: &Fair,
    of: HandOverId,
    (kind, count): (ClaimKind, u16),
    at: i64,
) -> Result<Claim, StoreError> {
    let words = "black at the crown".to_owned();
    let new = NewClaim { id: ClaimId::new(id()), hand_over: of, kind, count: n(count), words };
    house.try_write(|tx| claims::make(tx, fair.network.id, fair.taker.id, &new, later(at)))
}

fn claim(house: &House, fair: &Fair, of: HandOverId, count: u16) -> Claim {
    try_claim(house, fair, of, (ClaimKind::Condition, count), DAY).unwrap()
}

fn giver_acts(
    house: &House,
    fair: &Fair,
    of: &Claim,
    act: ClaimAct,
    at: i64,
) -> Result<Claim, StoreError> {
    let who = (fair.network.id, fair.giver.id);
    house.try_write(|tx| claims::act(tx, who, of.id, act, "as I see it", later(at)))
}

fn decide(
    house: &House,
    fair: &Fair,
    of: &Claim,
    count: u16,
    at: i64,
) -> Result<Claim, StoreError> {
    let by = (fair.network.id, fair.network.coordinator);
    house.try_write(|tx| claims::decide(tx, by, of.id, (n(count), "seen by two"), later(at)))
}

/// What the giver and the taker are owed.
fn owed_to(house: &House, fair: &Fair) -> (i64, i64) {
    let all = house.read(|tx| owed::balances(tx, fair.network.id));
    assert_eq!(all.values().map(|tenths| tenths.0).sum::<i64>(), 0, "the book sums to zero");
    let of = |farm| all.get(&farm).map_or(0, |tenths| tenths.0);
    (of(fair.giver.id), of(fair.taker.id))
}

on_both! {
    fn a_claim_that_the_giver_grants_comes_back_in_the_owed_book_at_the_agreed_value(house: &House) {
        let fair = fair(house);
        let of = swapped(house, &fair);
        assert_eq!(owed_to(house, &fair), (150, -150));
        let made = claim(house, &fair, of, 4);
        assert_eq!(made.state, ClaimState::Open);
        assert!(told(house, fair.giver.id)[0].contains("claims on 4 of 'Ember Lantern': bad condition"));
        assert_eq!(owed_to(house, &fair), (150, -150), "nothing is booked before it is granted");
        let granted = giver_acts(house, &fair, &made, ClaimAct::GrantByGiver, 2 * DAY).unwrap();
        assert_eq!((granted.state, granted.settled), (ClaimState::Granted, Some(n(4))));
        assert_eq!(owed_to(house, &fair), (90, -90));
        let standing = house.read(|tx| limits::standing(tx, fair.network.id, fair.taker.id, later(2 * DAY)));
        assert_eq!(standing.booked, Tenths(-90), "a limit is held against the same book");
        assert!(told(house, fair.taker.id)[0].contains("granted the claim on 4"));
        let again = giver_acts(house, &fair, &made, ClaimAct::GrantByGiver, 2 * DAY);
        assert!(matches!(again, Err(StoreError::Refused(Refused::State(_)))));
        house.store().check().unwrap();
    }

    fn a_claim_that_is_disputed_is_decided_by_the_coordinator_on_record(house: &House) {
        let fair = fair(house);
        let of = swapped(house, &fair);
        let made = claim(house, &fair, of, 4);
        let early = decide(house, &fair, &made, 2, 2 * DAY);
        assert!(matches!(early, Err(StoreError::Refused(Refused::State(_)))), "the giver answers first");
        giver_acts(house, &fair, &made, ClaimAct::DisputeByGiver, 2 * DAY).unwrap();
        let beyond = decide(house, &fair, &made, 5, 3 * DAY);
        assert_eq!(beyond.map(drop), refused(Refused::DecidedBeyond { claimed: n(4), decided: n(5) }));
        let decided = decide(house, &fair, &made, 3, 3 * DAY).unwrap();
        assert_eq!((decided.state, decided.settled), (ClaimState::Decided, Some(n(3))));
        assert_eq!((decided.decision.as_str(), decided.decided_by), ("seen by two", Some(fair.network.coordinator)));
        assert_eq!(owed_to(house, &fair), (105, -105));
        for farm in [fair.giver.id, fair.taker.id] {
            assert!(told(house, farm)[0].contains("3 of 4 count. seen by two"));
        }
        let other = claim(house, &fair, of, 1);
        giver_acts(house, &fair, &other, ClaimAct::DisputeByGiver, 4 * DAY).unwrap();
        decide(house, &fair, &other, 0, 4 * DAY).unwrap();
        assert_eq!(owed_to(house, &fair), (105, -105), "a decision of none books nothing");
    }

    fn a_giver_who_never_answers_does_not_keep_a_claim_from_being_decided(house: &House) {
        let fair = fair(house);
        let of = swapped(house, &fair);
        let made = claim(house, &fair, of, 4);
        let silent = DAY + i64::from(ANSWER_DAYS) * DAY;
        let before = house.read(|tx| claims::claim(tx, fair.network.id, Viewer::Coordinator, made.id, later(silent - 1)));
        assert_eq!(before.state, ClaimState::Open);
        assert!(decide(house, &fair, &made, 4, silent - 1).is_err());
        assert_eq!(decide(house, &fair, &made, 4, silent).unwrap().state, ClaimState::Decided);
    }

    fn each_kind_of_claim_has_its_last_day_and_no_more_is_claimed_than_arrived(house: &House) {
        let fair = fair(house);
        let of = swapped(house, &fair);
        // Received on the day of the fair.
        let on_day = |days: u16| i64::from(days) * DAY;
        let late = try_claim(house, &fair, of, (ClaimKind::Condition, 1), on_day(CONDITION_DAYS + 1));
        let until = ClaimKind::Condition.until(crate::common::day("2026-01-10"));
        assert_eq!(late.map(drop), refused(Refused::TooLateToClaim { kind: ClaimKind::Condition, until }));
        try_claim(house, &fair, of, (ClaimKind::Condition, 6), on_day(CONDITION_DAYS)).unwrap();
        let beyond = try_claim(house, &fair, of, (ClaimKind::NoEye, 5), on_day(NO_EYE_DAYS));
        let (received, claimed, asked) = (n(10), n(6), n(5));
        assert_eq!(beyond.map(drop), refused(Refused::MoreThanArrived { received, claimed, asked }));
        let none = try_claim(house, &fair, of, (ClaimKind::NoEye, 0), DAY);
        assert_eq!(none.map(drop), refused(Refused::Nothing { what: "the count claimed" }));
        try_claim(house, &fair, of, (ClaimKind::NoEye, 2), on_day(NO_EYE_DAYS)).unwrap();
        try_claim(house, &fair, of, (ClaimKind::NotTrue, 2), 200 * DAY).unwrap();
    }

    fn a_claim_taken_back_makes_room_and_books_nothing(house: &House) {
        let fair = fair(house);
        let of = swapped(house, &fair);
        let made = claim(house, &fair, of, 10);
        assert!(try_claim(house, &fair, of, (ClaimKind::Condition, 1), DAY).is_err());
        let taker = (fair.network.id, fair.taker.id);
        let withdrawn = house
            .write(|tx| claims::act(tx, taker, made.id, ClaimAct::WithdrawByTaker, "", later(2 * DAY)));
        assert_eq!(withdrawn.state, ClaimState::Withdrawn);
        assert_eq!(owed_to(house, &fair), (150, -150));
        claim(house, &fair, of, 1);
    }

    fn a_gift_is_claimed_on_without_a_debt(house: &House) {
        let fair = fair(house);
        let of = offer(house, &fair.giver, fair.lot, 20, 1);
        let gift = AskHold { purpose: Purpose::Gift, unit_value: Tenths(0), ..asking(of, 10) };
        let given = passed(house, &fair, gift);
        let made = claim(house, &fair, given, 4);
        giver_acts(house, &fair, &made, ClaimAct::GrantByGiver, 2 * DAY).unwrap();
        assert_eq!(owed_to(house, &fair), (0, 0));
    }

    fn nobody_but_its_two_farms_and_the_coordinator_has_a_claim(house: &House) {
        let fair = fair(house);
        let of = swapped(house, &fair);
        let made = claim(house, &fair, of, 4);
        let other = crate::common::farm(house, &fair.network, "Nettlecombe");
        let seen = house.try_write(|tx| {
            claims::act(tx, (fair.network.id, other.id), made.id, ClaimAct::GrantByGiver, "", later(DAY))
        });
        assert_eq!(seen, Err(Missing::Claim.into()));
        let taker = (fair.network.id, fair.taker.id);
        let own = house
            .try_write(|tx| claims::act(tx, taker, made.id, ClaimAct::GrantByGiver, "", later(DAY)));
        assert_eq!(own.map(drop), refused(Refused::OnlyBy(Party::Giver)));
        let giver = (fair.network.id, fair.giver.id);
        let back = house
            .try_write(|tx| claims::act(tx, giver, made.id, ClaimAct::WithdrawByTaker, "", later(DAY)));
        assert_eq!(back.map(drop), refused(Refused::OnlyBy(Party::Taker)));
        assert!(house.read(|tx| claims::claims(tx, fair.network.id, Viewer::Farm(other.id), 10, later(DAY))).is_empty());
        let all = house.read(|tx| claims::claims(tx, fair.network.id, Viewer::Coordinator, 10, later(DAY)));
        assert_eq!(all.len(), 1);
    }

    fn what_was_not_confirmed_as_received_is_not_claimed_on_yet(house: &House) {
        let fair = fair(house);
        let of = offer(house, &fair.giver, fair.lot, 20, 1);
        let hold = ask(house, &fair.taker, of, 10);
        agree(house, &fair.giver, hold.id);
        let new = hand_overs::NewHandOver { id: HandOverId::new(id()), ..giving(10) };
        house.write(|tx| hand_overs::hand_over(tx, fair.giver.id, hold.id, &new, later(2)));
        let early = try_claim(house, &fair, new.id, (ClaimKind::Condition, 1), DAY);
        assert_eq!(early.map(drop), refused(Refused::NotReceivedYet));
    }
}
