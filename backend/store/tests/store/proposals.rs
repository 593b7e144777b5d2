//! What rounds propose: accepted by all, declined by one, lapsed, fallen through; swap days settled.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Barrier;

use crate::common::fair::{agree as agree_hold, giving, receiving, refused, told};
use crate::common::ring::{Ring, put, ring, seen};
use crate::common::{House, ask, id, later, lose, n, now};
use chrono::TimeDelta;
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::exchange::round::Rules;
use spareloop_domain::exchange::{
    Answer, AnswerAct, HoldState, Limit, ProposalKind, ProposalState, RoundState, WantState,
};
use spareloop_domain::words::{Count, FarmId, NetworkId};
use spareloop_store::holds;
use spareloop_store::proposals::{self, Proposal, Viewer};
use spareloop_store::rounds::{self, Came, NewRound, Timetable, Written};
use spareloop_store::{
    Conflict, Missing, Refused, StoreError, hand_overs, limits, offers, owed, wants,
};

const ACCEPT: AnswerAct = AnswerAct::AcceptByPart;
const DECLINE: AnswerAct = AnswerAct::DeclineByPart;

fn answer(
    house: &House,
    ring: &Ring,
    of: &Proposal,
    farm: usize,
    act: AnswerAct,
    at: i64,
) -> Result<Proposal, StoreError> {
    let farm = ring.farms[farm].id;
    house.try_write(|tx| proposals::answer(tx, ring.network.id, farm, of.id, act, later(at)))
}

/// The states of all holds that a farm has a part in.
fn holds_of(house: &House, farm: FarmId, at: i64) -> Vec<holds::Hold> {
    house.read(|tx| holds::holds(tx, farm, None, 100, later(at)))
}

fn all_holds(house: &House, ring: &Ring, at: i64) -> usize {
    ring.farms.iter().map(|farm| holds_of(house, farm.id, at).len()).sum::<usize>() / 2
}

on_both! {
    fn a_loop_that_all_accept_makes_all_its_holds_at_once_and_none_before(house: &House) {
        let ring = ring(house);
        let of = ring.loop_of(house, 5);
        assert_eq!((of.state, of.farms.len(), of.lines.len()), (ProposalState::Open, 3, 3));
        assert!(told(house, ring.farms[0].id)[0].contains("you give 5 of 'Ember Lantern' to Marrowby"));
        for farm in 0..2 {
            let open = answer(house, &ring, &of, farm, ACCEPT, 5).unwrap();
            assert_eq!(open.state, ProposalState::Open);
            assert_eq!(all_holds(house, &ring, 5), 0);
        }
        let agreed = answer(house, &ring, &of, 2, ACCEPT, 6).unwrap();
        assert_eq!(agreed.state, ProposalState::Agreed);
        assert_eq!(all_holds(house, &ring, 6), 3);
        for (farm, line) in ring.farms.iter().zip(&agreed.lines) {
            let hold = house.read(|tx| holds::hold(tx, farm.id, line.hold.unwrap(), later(6)));
            assert_eq!((hold.state, hold.count, hold.unit_value), (HoldState::Agreed, n(5), Tenths(12)));
            let life: Vec<HoldState> = hold.steps.iter().map(|step| step.state).collect();
            assert_eq!(life, [HoldState::Held, HoldState::Agreed]);
            let offer = house.read(|tx| offers::offer(tx, ring.network.id, line.offer, later(6)));
            assert_eq!((offer.held, offer.free()), (n(5), n(5)));
            let want = house.read(|tx| wants::want(tx, ring.network.id, line.want, later(6)));
            assert_eq!((want.under_way, want.state), (n(5), WantState::Open));
        }
        let again = answer(house, &ring, &of, 2, ACCEPT, 7);
        assert!(matches!(again, Err(StoreError::Refused(Refused::State(_)))), "{again:?}");
    }

    fn one_decline_dissolves_the_loop_and_its_stock_is_there_for_the_next_round(house: &House) {
        let ring = ring(house);
        let of = ring.loop_of(house, 6);
        let bound = || house.read(|tx| proposals::bound_by_open(tx, ring.network.id, later(5)));
        assert_eq!(bound().offers[&ring.offers[0]], n(6));
        answer(house, &ring, &of, 0, ACCEPT, 5).unwrap();
        let gone = answer(house, &ring, &of, 1, DECLINE, 5).unwrap();
        assert_eq!(gone.state, ProposalState::Declined);
        assert_eq!(bound(), proposals::Bound::default());
        assert_eq!(all_holds(house, &ring, 6), 0);
        assert!(told(house, ring.farms[2].id)[0].contains("does not come about: one of its farms declined"));
        let late = answer(house, &ring, &of, 2, ACCEPT, 6);
        assert!(matches!(late, Err(StoreError::Refused(Refused::State(_)))));
    }

    fn a_farm_that_accepted_may_think_better_of_it_while_others_have_not_answered(house: &House) {
        let ring = ring(house);
        let of = ring.loop_of(house, 6);
        let open = answer(house, &ring, &of, 0, ACCEPT, 5).unwrap();
        assert_eq!(open.farms[0].answer, Answer::Accepted);
        let gone = answer(house, &ring, &of, 0, DECLINE, 6).unwrap();
        assert_eq!(gone.state, ProposalState::Declined);
    }

    fn silence_declines_at_the_date_before_any_job_has_seen_it(house: &House) {
        let ring = ring(house);
        let of = ring.loop_of(house, 6);
        answer(house, &ring, &of, 0, ACCEPT, 5).unwrap();
        let date = (of.answer_by - now()).num_seconds();
        assert_eq!(seen(house, ring.network.id, of.id, date).state, ProposalState::Lapsed);
        let bound = house.read(|tx| proposals::bound_by_open(tx, ring.network.id, later(date)));
        assert_eq!(bound, proposals::Bound::default());
        let late = answer(house, &ring, &of, 1, ACCEPT, date);
        assert!(matches!(late, Err(StoreError::Refused(Refused::State(_)))));
        assert_eq!(house.write(|tx| proposals::lapse_due(tx, later(date))), 1);
        assert_eq!(house.write(|tx| proposals::lapse_due(tx, later(date))), 0);
        assert!(told(house, ring.farms[0].id)[0].contains("not every farm answered in time"));
    }

    fn a_loop_whose_stock_went_elsewhere_falls_through_whole(house: &House) {
        let ring = ring(house);
        let of = ring.loop_of(house, 6);
        answer(house, &ring, &of, 0, ACCEPT, 5).unwrap();
        answer(house, &ring, &of, 1, ACCEPT, 5).unwrap();
        // Somebody asks for a hold by hand: first come, first held.
        ask(house, &ring.farms[0], ring.offers[2], 5);
        let fell = answer(house, &ring, &of, 2, ACCEPT, 6).unwrap();
        assert_eq!(fell.state, ProposalState::FellThrough);
        assert!(fell.why.contains("5 are free by now"), "{}", fell.why);
        assert_eq!(all_holds(house, &ring, 6), 1, "the hold that was asked for, and none of the loop's");
    }

    fn a_loop_whose_stock_was_lost_or_whose_want_was_withdrawn_falls_through(house: &House) {
        let mut ring = ring(house);
        let of = ring.loop_of(house, 6);
        let lot = ring.lots[1];
        lose(house, &mut ring.farms[1], lot, 18);
        for farm in 0..2 {
            answer(house, &ring, &of, farm, ACCEPT, 5).unwrap();
        }
        let fell = answer(house, &ring, &of, 2, ACCEPT, 6).unwrap();
        assert_eq!(fell.state, ProposalState::FellThrough);
        assert!(fell.why.contains("2 are free by now"), "{}", fell.why);
    }

    fn farms_without_a_part_see_nothing_and_can_answer_nothing(house: &House) {
        let ring = ring(house);
        let of = ring.loop_of(house, 6);
        let stranger = crate::common::farm(house, &ring.network, "Orpine End");
        let sees = |network, farm| {
            house.store().read(|tx| proposals::proposal(tx, network, Viewer::Farm(farm), of.id, later(5)))
        };
        assert_eq!(sees(ring.network.id, stranger.id), Err(Missing::Proposal.into()));
        assert_eq!(sees(NetworkId::new(id()), ring.farms[0].id), Err(Missing::Proposal.into()));
        let answered = house.try_write(|tx| {
            proposals::answer(tx, ring.network.id, stranger.id, of.id, DECLINE, later(5))
        });
        assert_eq!(answered, Err(Missing::Proposal.into()));
        assert_eq!(seen(house, ring.network.id, of.id, 5).version, of.version, "not even locked");
    }

    fn farms_that_all_accept_at_the_same_moment_make_one_set_of_holds(house: &House) {
        let ring = ring(house);
        let of = ring.loop_of(house, 6);
        let together = Barrier::new(3);
        std::thread::scope(|scope| {
            for farm in 0..3 {
                let (ring, of, together) = (&ring, &of, &together);
                scope.spawn(move || {
                    together.wait();
                    answer(house, ring, of, farm, ACCEPT, 5).unwrap();
                });
            }
        });
        assert_eq!(seen(house, ring.network.id, of.id, 6).state, ProposalState::Agreed);
        assert_eq!(all_holds(house, &ring, 6), 3);
        house.store().check().unwrap();
    }

    fn a_network_has_one_round_at_a_time_and_one_server_gets_it(house: &House) {
        let ring = ring(house);
        let rules = Rules::usual_loops();
        ring.begun(house, &rules, 1);
        let new = NewRound {
            id: spareloop_domain::words::RoundId::new(id()),
            by: None,
            rules: rules.clone(),
            frozen: "{}".to_owned(),
        };
        let second = house.try_write(|tx| rounds::begin(tx, ring.network.id, &new, later(1)));
        assert_eq!(second, Err(Conflict::RoundUnderWay.into()));
        let together = Barrier::new(4);
        let taken: Vec<_> = std::thread::scope(|scope| {
            let servers: Vec<_> = (0..4)
                .map(|_| scope.spawn(|| {
                    together.wait();
                    house.try_write(|tx| rounds::take(tx, later(2))).unwrap()
                }))
                .collect();
            servers.into_iter().filter_map(|server| server.join().unwrap()).collect()
        });
        assert_eq!(taken.len(), 1, "one of four servers has it");
    }

    fn a_round_whose_server_went_is_taken_up_again_and_written_down_once(house: &House) {
        let ring = ring(house);
        let round = ring.begun(house, &Rules::usual_loops(), 1);
        let first = house.write(|tx| rounds::take(tx, later(2))).unwrap();
        assert_eq!(house.write(|tx| rounds::take(tx, later(60))), None, "it still has time");
        let second = house.write(|tx| rounds::take(tx, later(600))).unwrap();
        let nothing = Came::Answer {
            answer: "{}".to_owned(),
            said: String::new(),
            proposals: Vec::new(),
        };
        assert_eq!(put(house, &first, &nothing, 601), Written::Elsewhere);
        assert_eq!(put(house, &second, &nothing, 602), Written::Here);
        assert_eq!(put(house, &second, &nothing, 603), Written::Elsewhere);
        let found = house.read(|tx| rounds::round(tx, ring.network.id, round));
        assert_eq!(found.state, RoundState::NothingFound);
    }

    fn a_round_that_servers_only_ever_take_up_is_given_up(house: &House) {
        let ring = ring(house);
        let round = ring.begun(house, &Rules::usual_loops(), 1);
        for at in 1..=3 {
            assert!(house.write(|tx| rounds::take(tx, later(at * 1_000))).is_some());
        }
        assert_eq!(house.write(|tx| rounds::take(tx, later(9_000))), None);
        let found = house.read(|tx| rounds::round(tx, ring.network.id, round));
        assert_eq!(found.state, RoundState::Failed);
        // So another one may begin.
        ring.begun(house, &Rules::usual_loops(), 9_001);
    }

    fn a_timetable_begins_one_round_however_many_servers_look_and_however_long_they_were_away(
        house: &House
    ) {
        let ring = ring(house);
        let timetable = Timetable { every_days: 7, rules: Rules::usual_loops(), next_at: later(10) };
        house.write(|tx| rounds::set_timetable(tx, ring.network.id, &timetable));
        let due = |at| house.read(|tx| rounds::due(tx, later(at)));
        assert_eq!(due(9), []);
        let weeks = TimeDelta::days(22).num_seconds();
        assert_eq!(due(weeks), [ring.network.id]);
        let moved: usize = (0..3)
            .filter(|_| {
                house.write(|tx| rounds::move_on(tx, ring.network.id, later(weeks)))
                    == rounds::Moved::On
            })
            .count();
        assert_eq!(moved, 1);
        let next = house.read(|tx| rounds::timetable(tx, ring.network.id)).unwrap().next_at;
        assert_eq!(next, later(10) + TimeDelta::days(28));
        ring.begun(house, &Rules::usual_loops(), weeks);
        assert_eq!(due(weeks + TimeDelta::days(8).num_seconds()), [], "one is under way");
    }

    fn a_hold_beyond_a_farms_limit_is_refused_and_an_even_loop_is_not(house: &House) {
        let ring = ring(house);
        let limit = |tenths: i64| Some(Limit::try_from(tenths).unwrap());
        let set = |farm: usize, tenths| {
            let farm = ring.farms[farm].id;
            house.write(|tx| limits::set(tx, ring.network.id, farm, limit(tenths), later(1)));
        };
        set(0, 60);
        // 4 at 1.5 are worth 6.0; 5 would be 7.5.
        let beyond = |count| {
            let asked = crate::common::asking(ring.offers[1], count);
            house.try_write(|tx| holds::ask(tx, ring.network.id, ring.farms[0].id, &asked, now()))
        };
        let told = beyond(5).unwrap_err();
        assert_eq!(
            told.to_string(),
            "the taker would owe 7.5 with all that is promised, and its limit is 6.0"
        );
        assert!(matches!(told, StoreError::Refused(Refused::Limit(_))));
        beyond(4).unwrap();
        let again = beyond(2).unwrap_err();
        assert!(matches!(again, StoreError::Refused(Refused::Limit(_))), "what is promised counts");
        // Everybody's limit is 0, and a loop evens out: no one gets further from even by it.
        for farm in 0..3 {
            set(farm, 0);
        }
        let of = ring.loop_of(house, 4);
        for farm in 0..3 {
            answer(house, &ring, &of, farm, ACCEPT, 5).unwrap();
        }
        assert_eq!(seen(house, ring.network.id, of.id, 6).state, ProposalState::Agreed);
    }

    fn a_hand_over_that_a_lowered_limit_no_longer_bears_is_refused(house: &House) {
        let ring = ring(house);
        let hold = ask(house, &ring.farms[1], ring.offers[0], 6);
        agree_hold(house, &ring.farms[0], hold.id);
        let set = |limit: Option<Limit>| {
            house.write(|tx| limits::set(tx, ring.network.id, ring.farms[1].id, limit, later(2)));
        };
        set(Some(Limit::try_from(50).unwrap()));
        let hand_over = || {
            let giving = crate::common::fair::giving(6);
            house.try_write(|tx| {
                spareloop_store::hand_overs::hand_over(tx, ring.farms[0].id, hold.id, &giving, later(3))
            })
        };
        let refusal = hand_over();
        assert!(matches!(refusal, Err(StoreError::Refused(Refused::Limit(_)))), "{refusal:?}");
        set(None);
        hand_over().unwrap();
    }

    fn a_swap_day_takes_place_among_those_who_accept_and_is_settled_for_those_who_come(house: &House) {
        let ring = ring(house);
        let day = "2026-02-14".parse().unwrap();
        let rules = Rules::usual_swap_day(day, "the old barn".into());
        let of = ring.proposed(house, &rules, ProposalKind::SwapDay, ring.lines(6));
        assert!(told(house, ring.farms[0].id)[0].contains("2026-02-14, the old barn"));
        answer(house, &ring, &of, 0, ACCEPT, 5).unwrap();
        answer(house, &ring, &of, 1, ACCEPT, 5).unwrap();
        assert_eq!(house.read(|tx| proposals::swap_days_due(tx, later(6))), []);
        let open = answer(house, &ring, &of, 2, DECLINE, 6).unwrap();
        assert_eq!(open.state, ProposalState::Open, "the others still come");
        assert_eq!(house.read(|tx| proposals::swap_days_due(tx, later(6))), [(ring.network.id, of.id)]);
        let read = |absent: &BTreeSet<FarmId>, at| {
            house.read(|tx| proposals::settling(tx, ring.network.id, of.id, absent, later(at)))
        };
        let settling = read(&BTreeSet::new(), 7);
        let lines: Vec<i64> = settling.planned.iter().map(|line| line.line).collect();
        assert_eq!(lines, [1], "only the first farm's gift to the second is between two who come");
        let kept = BTreeMap::from([(1, n(6))]);
        let settled = house.write(|tx| proposals::settle(tx, &settling, &kept, later(8)));
        assert_eq!(settled.state, ProposalState::Agreed);
        let again = house.try_write(|tx| proposals::settle(tx, &settling, &kept, later(8)));
        assert_eq!(again, Err(Conflict::ActedMeanwhile.into()), "no server does it twice");
        assert_eq!(all_holds(house, &ring, 8), 1);

        // On the day, less of it stands, and then the day is over.
        let absent = BTreeSet::new();
        let settling = read(&absent, 9);
        let owed: Vec<Tenths> = settling.farms.values().map(|(owed, _)| *owed).collect();
        assert_eq!(owed, [Tenths(0); 3], "what can still change is not counted");
        let kept: BTreeMap<i64, Count> = BTreeMap::from([(1, n(4))]);
        let closed = house.write(|tx| proposals::close(tx, &settling, &absent, &kept, later(10)));
        assert_eq!(closed.state, ProposalState::Settled);
        let holds = holds_of(house, ring.farms[0].id, 11);
        let states: Vec<_> = holds.iter().map(|hold| (hold.state, hold.count)).collect();
        assert_eq!(states, [(HoldState::Released, n(6)), (HoldState::Agreed, n(4))]);
        assert_eq!(holds[1].cut_from, Some(holds[0].id));
        assert_eq!(closed.lines[0].hold, Some(holds[1].id));
        house.store().check().unwrap();
    }

    fn a_loop_delivered_in_part_stops_what_was_not_sent_and_books_the_rest(house: &House) {
        let ring = ring(house);
        let of = ring.loop_of(house, 6);
        (0..3).for_each(|farm| drop(answer(house, &ring, &of, farm, ACCEPT, 5).unwrap()));
        let lines = seen(house, ring.network.id, of.id, 6).lines;
        let hold = |line: usize| lines[line].hold.unwrap();
        // The first parcel goes out; then the second farm gives up what it was to send.
        let handed = house
            .write(|tx| hand_overs::hand_over(tx, ring.farms[0].id, hold(0), &giving(6), later(7)));
        assert_eq!(house.write(|tx| proposals::stop_broken(tx, later(7))), 0, "nothing is broken");
        house.write(|tx| holds::release(tx, ring.farms[1].id, hold(1), "they rotted", later(8)));
        assert_eq!(house.write(|tx| proposals::stop_broken(tx, later(9))), 1);
        assert_eq!(house.write(|tx| proposals::stop_broken(tx, later(9))), 0, "once and not again");

        let stopped = seen(house, ring.network.id, of.id, 10);
        assert_eq!(stopped.state, ProposalState::Stopped);
        assert_eq!(stopped.why, "'Dusk Ferry' from Marrowby does not come");
        let third = house.read(|tx| holds::hold(tx, ring.farms[2].id, hold(2), later(10)));
        assert_eq!(third.state, HoldState::Released);
        let free = house.read(|tx| offers::offer(tx, ring.network.id, ring.offers[2], later(10)));
        assert_eq!(free.free(), n(10), "it goes back into matching");
        let wants = house.read(|tx| wants::want(tx, ring.network.id, ring.wants[2], later(10)));
        assert_eq!((wants.under_way, wants.state), (n(0), WantState::Open));
        let heard = told(house, ring.farms[2].id);
        assert!(heard.iter().any(|it| it.contains("send nothing more for it")), "{heard:?}");

        // What was handed over is received and booked as ever.
        let id = handed.hand_over.unwrap().id;
        house.write(|tx| hand_overs::receive(tx, ring.farms[1].id, id, &receiving(6), later(11)));
        let owed = house.read(|tx| owed::balances(tx, ring.network.id));
        assert_eq!(owed[&ring.farms[0].id], Tenths(72));
        assert_eq!(owed.values().map(|tenths| tenths.0).sum::<i64>(), 0);
        house.store().check().unwrap();
    }

    fn a_parcel_of_a_loop_of_which_nothing_arrives_stops_those_not_sent(house: &House) {
        let ring = ring(house);
        let of = ring.loop_of(house, 6);
        (0..3).for_each(|farm| drop(answer(house, &ring, &of, farm, ACCEPT, 5).unwrap()));
        let hold = seen(house, ring.network.id, of.id, 6).lines[0].hold.unwrap();
        let handed =
            house.write(|tx| hand_overs::hand_over(tx, ring.farms[0].id, hold, &giving(6), later(7)));
        let id = handed.hand_over.unwrap().id;
        house.write(|tx| hand_overs::receive(tx, ring.farms[1].id, id, &receiving(0), later(8)));
        assert_eq!(house.write(|tx| proposals::stop_broken(tx, later(9))), 1);
        let stopped = seen(house, ring.network.id, of.id, 10);
        assert_eq!(stopped.why, "'Ember Lantern' from Larkhusk does not come");
        assert_eq!(holds_of(house, ring.farms[2].id, 10).iter().filter(|it| it.state.is_live()).count(), 0);
    }

    fn what_a_loss_leaves_of_a_hold_stays_part_of_its_loop(house: &House) {
        let mut ring = ring(house);
        let of = ring.loop_of(house, 6);
        (0..3).for_each(|farm| drop(answer(house, &ring, &of, farm, ACCEPT, 5).unwrap()));
        let lot = ring.lots[1];
        lose(house, &mut ring.farms[1], lot, 17);
        let found = seen(house, ring.network.id, of.id, 6);
        let kept = house.read(|tx| {
            holds::hold(tx, ring.farms[1].id, found.lines[1].hold.unwrap(), later(6))
        });
        assert_eq!((kept.state, kept.count), (HoldState::Agreed, n(3)));
        assert_eq!(house.write(|tx| proposals::stop_broken(tx, later(7))), 0, "3 still come");
        lose(house, &mut ring.farms[1], lot, 2);
        assert_eq!(house.write(|tx| proposals::stop_broken(tx, later(8))), 1, "1 is no parcel");
    }

    fn a_loop_is_not_settled_like_a_swap_day(house: &House) {
        let ring = ring(house);
        let of = ring.loop_of(house, 6);
        let settling = house.store().read(|tx| {
            proposals::settling(tx, ring.network.id, of.id, &BTreeSet::new(), later(5))
        });
        assert_eq!(settling.map(drop), refused(Refused::NotASwapDay));
    }
}
