//! From an offer to holds that are agreed, lapse or are cut, and what a loss does on the way.

use crate::common::fair::{agree, fair, hold_of, refused, seen, told, want};
use crate::common::{
    Farm, House, ask, asking, farm, id, later, lose, n, new_offer, now, offer, push,
};
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::exchange::{HoldState, OfferState, Party, WantState};
use spareloop_domain::ledger::Refusal;
use spareloop_domain::ledger::body::{Stop, VarietyNote};
use spareloop_domain::words::{Count, Identity, LotId, Protection, Purpose, UnitKind};
use spareloop_store::holds::{self, AskHold};
use spareloop_store::{Conflict, Missing, Refused, StoreError, Taken, farm_book, messages};
use spareloop_store::{offers, wants};

on_both! {
    fn an_offer_shows_to_its_network_and_to_no_other(house: &House) {
        let fair = fair(house);
        let offer = offer(house, &fair.giver, fair.lot, 12, 3);
        let shown = seen(house, &fair.taker, offer, 1);
        assert_eq!((shown.variety.as_str(), shown.unit), ("Ember Lantern", UnitKind::Division));
        assert_eq!((shown.count, shown.free(), shown.smallest_parcel), (n(12), n(12), n(3)));
        assert_eq!((shown.state, shown.identity), (OfferState::Open, Identity::Sure));
        let board = |after| {
            house.read(|tx| offers::board(tx, fair.network.id, after, 10, now()))
        };
        assert_eq!(board(None), vec![shown.clone()]);
        assert_eq!(board(Some(offer)), vec![]);
        let elsewhere = spareloop_domain::words::NetworkId::new(id());
        let foreign = house.store().read(|tx| offers::offer(tx, elsewhere, offer, now()));
        assert_eq!(foreign, Err(Missing::Offer.into()));
        assert_eq!(house.read(|tx| offers::board(tx, elsewhere, None, 10, now())), vec![]);
        let asked = asking(offer, 3);
        let foreign = house
            .try_write(|tx| holds::ask(tx, elsewhere, fair.taker.id, &asked, now()));
        assert_eq!(foreign, Err(Missing::Offer.into()));
    }

    fn no_more_is_offered_than_is_in_store_and_not_promised(house: &House) {
        let fair = fair(house);
        let make = |new: &offers::NewOffer| {
            house.try_write(|tx| offers::make(tx, fair.network.id, fair.giver.id, new, now()))
        };
        offer(house, &fair.giver, fair.lot, 30, 1);
        let over = make(&new_offer(fair.lot, 11, 1));
        assert_eq!(over, Err(Conflict::NotEnoughFree { asked: n(11), free: n(10) }.into()));
        make(&new_offer(fair.lot, 10, 1)).unwrap();
        assert_eq!(make(&new_offer(fair.lot, 0, 1)), refused(Refused::Nothing { what: "the count offered" }));
        let unsendable = Refused::SmallestAboveCount { smallest: n(9), count: n(5) };
        assert_eq!(make(&new_offer(fair.lot, 5, 9)), refused(unsendable));
        assert_eq!(make(&new_offer(LotId::new(id()), 1, 1)), Err(Missing::Lot.into()));
        let promised =
            house.read(|tx| offers::promised_by_lot(tx, fair.giver.id, now()));
        assert_eq!(promised[&fair.lot], n(40));
    }

    fn a_withdrawn_offer_frees_its_lot_and_keeps_the_holds_that_stand(house: &House) {
        let fair = fair(house);
        let first = offer(house, &fair.giver, fair.lot, 40, 1);
        let hold = ask(house, &fair.taker, first, 5);
        let not_theirs = house.try_write(|tx| {
            offers::withdraw(tx, fair.network.id, fair.taker.id, first, now())
        });
        assert_eq!(not_theirs, refused(Refused::OnlyBy(Party::Giver)));
        let withdraw = || {
            house.try_write(|tx| offers::withdraw(tx, fair.network.id, fair.giver.id, first, now()))
        };
        assert_eq!(withdraw().unwrap().state, OfferState::Withdrawn);
        assert!(matches!(withdraw(), Err(StoreError::Refused(Refused::State(_)))));
        assert_eq!(hold_of(house, &fair.taker, hold.id).state, HoldState::Held);
        offer(house, &fair.giver, fair.lot, 35, 1);
        let over = house.try_write(|tx| {
            offers::make(tx, fair.network.id, fair.giver.id, &new_offer(fair.lot, 1, 1), now())
        });
        assert_eq!(over, Err(Conflict::NotEnoughFree { asked: n(1), free: n(0) }.into()));
        let asked = asking(first, 1);
        let ended = house
            .try_write(|tx| holds::ask(tx, fair.network.id, fair.taker.id, &asked, now()));
        assert!(matches!(ended, Err(StoreError::Refused(Refused::State(_)))));
    }

    fn a_protected_variety_without_a_permission_is_not_offered(house: &House) {
        let mut fair = fair(house);
        let variety =
            house.read(|tx| farm_book(tx, fair.giver.id)).lots[&fair.lot].variety;
        let protect = |permission: Option<&str>| VarietyNote {
            protection: Some(Protection::Protected {
                holder: None,
                region: None,
                until: None,
                permission: permission.map(str::to_owned),
            }),
            ..VarietyNote::about(variety)
        };
        let note = fair.giver.device.note("2026-01-08", protect(None));
        push(house, fair.giver.id, &[note]);
        let make = || {
            let new = new_offer(fair.lot, 5, 1);
            house.try_write(|tx| offers::make(tx, fair.network.id, fair.giver.id, &new, now()))
        };
        let name = "Ember Lantern".parse().unwrap();
        assert_eq!(make(), refused(Refusal::Protected { name }));
        let note = fair.giver.device.note("2026-01-09", protect(Some("No. 7 (invented)")));
        push(house, fair.giver.id, &[note]);
        assert!(make().is_ok());
    }

    fn a_stopped_lot_is_not_offered_and_its_open_offers_are_set_aside(house: &House) {
        let mut fair = fair(house);
        let open = offer(house, &fair.giver, fair.lot, 10, 1);
        let stop = Stop { lot: fair.lot, session: None, signs: "gall at the crown".to_owned() };
        let entry = fair.giver.device.note("2026-01-09", stop);
        push(house, fair.giver.id, &[entry]);
        assert_eq!(seen(house, &fair.giver, open, 1).state, OfferState::SetAside);
        assert!(told(house, fair.giver.id)[0].contains("set aside"));
        let new = new_offer(fair.lot, 5, 1);
        let made =
            house.try_write(|tx| offers::make(tx, fair.network.id, fair.giver.id, &new, now()));
        assert!(matches!(made, Err(StoreError::Refused(Refused::Book(Refusal::Stopped { .. })))));
        assert_eq!(house.read(|tx| offers::board(tx, fair.network.id, None, 10, now())), vec![]);
    }

    fn a_hold_binds_its_count_and_both_sides_see_its_life(house: &House) {
        let fair = fair(house);
        let offer = offer(house, &fair.giver, fair.lot, 12, 3);
        let hold = ask(house, &fair.taker, offer, 5);
        assert_eq!((hold.giver.name.as_str(), hold.taker.name.as_str()), ("Larkhusk", "Marrowby"));
        assert_eq!(seen(house, &fair.giver, offer, 1).free(), n(7));
        assert!(told(house, fair.giver.id)[0].starts_with("Marrowby asks you to hold 5"));
        agree(house, &fair.giver, hold.id);
        assert!(told(house, fair.taker.id)[0].starts_with("Larkhusk agreed to hold 5"));
        let released =
            house.write(|tx| holds::release(tx, fair.taker.id, hold.id, "too many", later(2)));
        let life: Vec<HoldState> = released.steps.iter().map(|step| step.state).collect();
        assert_eq!(life, [HoldState::Held, HoldState::Agreed, HoldState::Released]);
        assert_eq!(released.steps[2].by, Some(fair.taker.id));
        assert_eq!(seen(house, &fair.giver, offer, 1).free(), n(12));
        let listed = house.read(|tx| holds::holds(tx, fair.giver.id, None, 10, later(3)));
        assert_eq!(listed, vec![released]);
    }

    fn what_may_not_be_asked_for_is_refused_and_binds_nothing(house: &House) {
        let fair = fair(house);
        let offer = offer(house, &fair.giver, fair.lot, 12, 3);
        let by = |farm: &Farm, asked: AskHold| {
            house.try_write(|tx| holds::ask(tx, fair.network.id, farm.id, &asked, now()))
        };
        assert_eq!(by(&fair.giver, asking(offer, 3)), refused(Refused::OwnOffer));
        let small = Refused::BelowSmallestParcel { asked: n(2), smallest: n(3) };
        assert_eq!(by(&fair.taker, asking(offer, 2)), refused(small));
        let over = Conflict::NotEnoughFree { asked: n(13), free: n(12) };
        assert_eq!(by(&fair.taker, asking(offer, 13)), Err(over.into()));
        let gift = AskHold { purpose: Purpose::Gift, ..asking(offer, 3) };
        assert_eq!(by(&fair.taker, gift), refused(Refused::GiftWithValue));
        let club = AskHold { purpose: Purpose::Club, ..asking(offer, 3) };
        assert_eq!(by(&fair.taker, club), refused(Refused::NotForHolds(Purpose::Club)));
        let dear = AskHold { unit_value: Tenths(1_000_001), ..asking(offer, 3) };
        assert_eq!(by(&fair.taker, dear), refused(Refused::UnitValue(Tenths(1_000_001))));
        let late = AskHold { lapses_at: now(), ..asking(offer, 3) };
        assert_eq!(by(&fair.taker, late), refused(Refused::LapsesAtOnce));
        let not_mine = want(house, &fair.giver, 3);
        let foreign = AskHold { want: Some(not_mine), ..asking(offer, 3) };
        assert_eq!(by(&fair.taker, foreign), Err(Missing::Want.into()));
        let long = AskHold { note: "x".repeat(1001), ..asking(offer, 3) };
        assert_eq!(by(&fair.taker, long), refused(Refused::Text { what: "the note" }));
        assert_eq!(seen(house, &fair.giver, offer, 1).free(), n(12));
        let held = ask(house, &fair.taker, offer, 3);
        let again = AskHold { id: held.id, ..asking(offer, 3) };
        assert_eq!(by(&fair.taker, again), Err(Conflict::AlreadyTaken(Taken::Hold).into()));
        assert_eq!(seen(house, &fair.giver, offer, 1).free(), n(9));
    }

    fn only_the_giver_agrees_and_a_third_farm_sees_nothing(house: &House) {
        let fair = fair(house);
        let third = farm(house, &fair.network, "Quillmarsh");
        let offer = offer(house, &fair.giver, fair.lot, 12, 3);
        let hold = ask(house, &fair.taker, offer, 5);
        let agree = |farm: &Farm| {
            house.try_write(|tx| holds::agree(tx, farm.id, hold.id, "", later(1)))
        };
        assert_eq!(agree(&fair.taker), refused(Refused::OnlyBy(Party::Giver)));
        assert_eq!(agree(&third), Err(Missing::Hold.into()));
        let release =
            house.try_write(|tx| holds::release(tx, third.id, hold.id, "", later(1)));
        assert_eq!(release, Err(Missing::Hold.into()));
        assert_eq!(house.read(|tx| holds::holds(tx, third.id, None, 10, later(1))), vec![]);
        assert_eq!(told(house, third.id), Vec::<String>::new());
    }

    fn a_hold_whose_time_passed_binds_nothing_even_before_the_job_sees_it(house: &House) {
        let fair = fair(house);
        let offer = offer(house, &fair.giver, fair.lot, 12, 3);
        let hold = ask(house, &fair.taker, offer, 12);
        assert_eq!(seen(house, &fair.giver, offer, 3599).free(), n(0));
        assert_eq!(seen(house, &fair.giver, offer, 3600).free(), n(12));
        let late = house.try_write(|tx| holds::agree(tx, fair.giver.id, hold.id, "", later(3600)));
        assert!(matches!(late, Err(StoreError::Refused(Refused::State(_)))));
        let asked = AskHold { lapses_at: later(9000), ..asking(offer, 12) };
        house.write(|tx| holds::ask(tx, fair.network.id, fair.taker.id, &asked, later(3600)));
        let lapsed = hold_of(house, &fair.taker, hold.id);
        assert_eq!(lapsed.state, HoldState::Lapsed);
        assert_eq!(lapsed.steps[1].at, hold.lapses_at, "it ended at its time, not when we looked");
        assert_eq!(house.write(|tx| holds::lapse_overdue(tx, later(3601))), 0);
    }

    fn the_job_lapses_each_hold_once_and_leaves_agreed_ones(house: &House) {
        let fair = fair(house);
        let offer = offer(house, &fair.giver, fair.lot, 12, 3);
        let kept = ask(house, &fair.taker, offer, 3);
        agree(house, &fair.giver, kept.id);
        ask(house, &fair.taker, offer, 3);
        ask(house, &fair.taker, offer, 3);
        assert_eq!(house.write(|tx| holds::lapse_overdue(tx, later(3599))), 0);
        assert_eq!(house.write(|tx| holds::lapse_overdue(tx, later(3600))), 2);
        assert_eq!(house.write(|tx| holds::lapse_overdue(tx, later(3600))), 0);
        assert_eq!(seen(house, &fair.giver, offer, 3600).held, n(3));
        let lapsed = told(house, fair.taker.id);
        assert_eq!(lapsed.iter().filter(|text| text.contains("lapsed")).count(), 2);
    }

    fn a_lot_lost_to_rot_after_holds_shrinks_the_offer_then_cuts_the_newest_first(house: &House) {
        let mut fair = fair(house);
        let third = farm(house, &fair.network, "Quillmarsh");
        let offer = offer(house, &fair.giver, fair.lot, 40, 5);
        let oldest = ask(house, &fair.taker, offer, 10);
        agree(house, &fair.giver, oldest.id);
        let newer = ask(house, &third, offer, 12);
        agree(house, &fair.giver, newer.id);
        lose(house, &mut fair.giver, fair.lot, 18);
        let after = seen(house, &fair.giver, offer, 1);
        assert_eq!((after.count, after.held, after.free()), (n(22), n(22), n(0)));
        assert_eq!(hold_of(house, &third, newer.id).state, HoldState::Agreed, "nobody cut yet");

        lose(house, &mut fair.giver, fair.lot, 4);
        let cut = hold_of(house, &third, newer.id);
        assert_eq!(cut.state, HoldState::Cut);
        let listed = house.read(|tx| holds::holds(tx, third.id, None, 10, later(1)));
        let rest = listed.iter().find(|hold| hold.cut_from == Some(newer.id)).unwrap();
        assert_eq!((rest.count, rest.state), (n(8), HoldState::Agreed));
        assert_eq!(rest.asked_at, cut.asked_at, "it keeps its place");
        assert!(told(house, third.id).iter().any(|text| text.contains("8 remain agreed")));
        assert!(told(house, fair.giver.id).iter().any(|text| text.contains("Quillmarsh was cut")));

        lose(house, &mut fair.giver, fair.lot, 5);
        let after = seen(house, &fair.giver, offer, 1);
        assert_eq!((after.count, after.held), (n(13), n(10)));
        assert_eq!(hold_of(house, &third, rest.id).state, HoldState::Cut, "3 reach no parcel");
        assert_eq!(after.free(), n(3), "and so are free for the next in line");
        assert_eq!(hold_of(house, &fair.taker, oldest.id).state, HoldState::Agreed);
        lose(house, &mut fair.giver, fair.lot, 13);
        assert_eq!(seen(house, &fair.giver, offer, 1).state, OfferState::Closed);
    }

    fn a_want_is_open_again_when_its_hold_is_released(house: &House) {
        let fair = fair(house);
        let wanted = want(house, &fair.taker, 6);
        let offer = offer(house, &fair.giver, fair.lot, 12, 3);
        let asked = AskHold { want: Some(wanted), ..asking(offer, 6) };
        house.write(|tx| holds::ask(tx, fair.network.id, fair.taker.id, &asked, now()));
        let board = || house.read(|tx| wants::board(tx, fair.network.id, None, 10, later(1)));
        assert_eq!(board(), vec![]);
        house.write(|tx| holds::release(tx, fair.giver.id, asked.id, "", later(1)));
        assert_eq!(board().len(), 1);
        assert_eq!(board()[0].instead[0].as_str(), "Dusk Ferry");
        let foreign = house.try_write(|tx| {
            wants::withdraw(tx, fair.network.id, fair.giver.id, wanted, now())
        });
        assert_eq!(foreign, refused(Refused::OnlyBy(Party::Taker)));
        let gone = house
            .write(|tx| wants::withdraw(tx, fair.network.id, fair.taker.id, wanted, now()));
        assert_eq!(gone.state, WantState::Withdrawn);
        assert_eq!(board(), vec![]);
        let own = house.read(|tx| wants::of_farm(tx, fair.taker.id, None, 10, now()));
        assert_eq!(own.len(), 1);
        assert_eq!(own[0].count, Count::from(6));
        let offers = house.read(|tx| offers::of_farm(tx, fair.giver.id, None, 10, now()));
        assert_eq!(offers.len(), 1);
    }

    fn a_hold_names_no_want_of_something_else_and_none_that_was_taken_back(house: &House) {
        let mut fair = fair(house);
        let wanted = want(house, &fair.taker, 6);
        let moss = crate::common::lot(house, &mut fair.giver, "Moss Harbour", 12);
        let dusk = crate::common::lot(house, &mut fair.giver, "dusk-ferry", 12);
        let ask = |of, count| {
            let asked = AskHold { want: Some(wanted), ..asking(of, count) };
            house.try_write(|tx| holds::ask(tx, fair.network.id, fair.taker.id, &asked, now()))
        };
        let other = ask(offer(house, &fair.giver, moss, 6, 1), 2);
        let (wanted_name, offered) = ("Ember Lantern".to_owned(), "Moss Harbour".to_owned());
        assert_eq!(other.map(drop), refused(Refused::NotWanted { wanted: wanted_name, offered }));
        let instead = offer(house, &fair.giver, dusk, 6, 1);
        assert_eq!(ask(instead, 2).unwrap().count, n(2), "what is taken instead is wanted, too");
        house.write(|tx| wants::withdraw(tx, fair.network.id, fair.taker.id, wanted, later(1)));
        assert_eq!(ask(instead, 2).map(drop), refused(Refused::WantWithdrawn));
    }

    fn messages_come_newest_first_in_pages(house: &House) {
        let fair = fair(house);
        let offer = offer(house, &fair.giver, fair.lot, 12, 1);
        for (count, at) in [(1, 0), (2, 10), (3, 20)] {
            let asked = asking(offer, count);
            let at = later(at);
            house.write(|tx| holds::ask(tx, fair.network.id, fair.taker.id, &asked, at));
        }
        let first = house.read(|tx| messages::list(tx, fair.giver.id, None, 2));
        assert!(first[0].text.contains("hold 3") && first[1].text.contains("hold 2"));
        let rest = house.read(|tx| messages::list(tx, fair.giver.id, Some(first[1].id), 2));
        assert_eq!(rest.len(), 1);
        assert_eq!(rest[0].at, now());
    }
}
