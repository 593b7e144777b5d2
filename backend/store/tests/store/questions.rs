//! Own need or a provisional promise: when the giver is asked, what both sides hear, what an answer does;
//! and by which rule holds are cut. On both databases.

use crate::common::fair::{Fair, agree, fair, fair_of, hold_of, refused, seen, told};
use crate::common::{House, ask, day, farm, later, lose, n, offer, push};
use spareloop_domain::exchange::cut::CutRule;
use spareloop_domain::exchange::{HoldState, QuestionAct, QuestionState};
use spareloop_domain::ledger::body::{Check, Plan, Scope};
use spareloop_domain::words::{Count, HoldId, Look, QuestionId, UnitKind};
use spareloop_store::questions::{self, Question};
use spareloop_store::{Missing, Refused, StoreError, cut_rules, farm_book};

const PROMISE: QuestionAct = QuestionAct::KeepPromiseByGiver;
const NEED: QuestionAct = QuestionAct::KeepNeedByGiver;

/// Of the giver's 40, ten are held by one taker and five by another; it plans 20 itself.
fn promised(house: &House, fair: &mut Fair, mark: &str) -> [HoldId; 2] {
    plan(house, fair, 20);
    let of = offer(house, &fair.giver, fair.lot, 20, 2);
    let first = ask(house, &fair.taker, of, 10).id;
    agree(house, &fair.giver, first);
    let other = farm(house, &fair.network, &format!("Nettlecombe{mark}"));
    [first, ask(house, &other, of, 5).id]
}

fn plan(house: &House, fair: &mut Fair, plants: u16) {
    let book = house.read(|tx| farm_book(tx, fair.giver.id));
    let plan = Plan {
        variety: book.lots[&fair.lot].variety,
        unit: UnitKind::Division,
        plants_wanted: n(plants),
        planting: day("2026-05-10"),
        keep_back: None,
        service_level: None,
    };
    let entry = fair.giver.device.note("2026-01-02", plan);
    push(house, fair.giver.id, &[entry]);
}

fn asked(house: &House, fair: &Fair, at: i64) -> Vec<Question> {
    house.read(|tx| questions::questions(tx, fair.giver.id, later(at)))
}

fn answer(
    house: &House,
    fair: &Fair,
    id: QuestionId,
    act: QuestionAct,
    at: i64,
) -> Result<Question, StoreError> {
    house.try_write(|tx| questions::answer(tx, fair.giver.id, id, act, later(at)))
}

fn lose_of(house: &House, fair: &mut Fair, count: u16) {
    let lot = fair.lot;
    lose(house, &mut fair.giver, lot, count);
}

on_both! {
    fn a_loss_that_leaves_too_few_for_the_plan_besides_asks_the_giver_and_both_sides_hear_of_it(house: &House) {
        let mut fair = fair(house);
        let [first, _] = promised(house, &mut fair, "");
        // 32 in store bear 15 held and all but 3 of the 20 planned.
        lose_of(house, &mut fair, 8);
        let found = asked(house, &fair, 1);
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].about, found[0].state), (n(3), QuestionState::Asked));
        let need = found[0].need;
        assert_eq!((need.planned, need.in_store, need.held), (n(20), n(32), n(15)));
        assert_eq!(hold_of(house, &fair.giver, first).count, n(10), "nothing is cut before the answer");
        let giver = told(house, fair.giver.id);
        assert!(giver.iter().any(|it| it.contains("your own need or the promise")), "{giver:?}");
        let taker = told(house, fair.taker.id);
        assert!(taker.iter().any(|it| it.contains("of which you hold 10") && it.contains("your hold stands")), "{taker:?}");
    }

    fn own_need_cuts_as_many_as_are_lacking_newest_first_and_offers_no_more_of_the_lot(house: &House) {
        let mut fair = fair(house);
        let [first, second] = promised(house, &mut fair, "");
        lose_of(house, &mut fair, 8);
        let id = asked(house, &fair, 1)[0].id;
        let answered = answer(house, &fair, id, NEED, 2).unwrap();
        assert_eq!(answered.state, QuestionState::NeedStands);
        assert_eq!(hold_of(house, &fair.giver, first).count, n(10), "who came first keeps longest");
        let cut = hold_of(house, &fair.giver, second);
        assert_eq!(cut.state, HoldState::Cut);
        let of = seen(house, &fair.giver, cut.offer, 3);
        assert_eq!((of.count, of.held, of.free()), (n(12), n(12), n(0)), "2 stay held, nothing is free");
        let taker = told(house, cut.taker.id);
        assert!(taker[0].contains("own need, and the offer was provisional: 2 remain held"), "{taker:?}");
        let again = answer(house, &fair, id, PROMISE, 4);
        assert!(matches!(again, Err(StoreError::Refused(Refused::State(_)))), "{again:?}");
        house.store().check().unwrap();
    }

    fn the_promise_stands_where_the_giver_says_so_or_says_nothing(house: &House) {
        let mut fair = fair(house);
        let [first, second] = promised(house, &mut fair, "");
        lose_of(house, &mut fair, 8);
        let open = asked(house, &fair, 1).remove(0);
        let date = (open.answer_by - crate::common::now()).num_seconds();
        assert_eq!(asked(house, &fair, date)[0].state, QuestionState::PromiseStands);
        let late = answer(house, &fair, open.id, NEED, date);
        assert!(matches!(late, Err(StoreError::Refused(Refused::State(_)))), "silence has answered");
        let kept = answer(house, &fair, open.id, PROMISE, 2).unwrap();
        assert_eq!(kept.state, QuestionState::PromiseStands);
        for (hold, count) in [(first, 10), (second, 5)] {
            assert_eq!(hold_of(house, &fair.giver, hold).count, n(count));
        }
        assert!(told(house, fair.taker.id)[0].contains("keeps its promise: your hold of 10"));
    }

    fn a_lot_that_was_looked_over_lately_was_promised_firmly_and_nobody_is_asked(house: &House) {
        let mut fair = fair(house);
        promised(house, &mut fair, "");
        let sound = Check {
            lot: fair.lot,
            look: Look::Unpacked,
            scope: Scope::Whole,
            inspected: n(40),
            sound: n(40),
            doubtful: n(0),
            lost: Vec::new(),
            sprouted: None,
        };
        let look = fair.giver.device.note("2026-01-05", sound);
        push(house, fair.giver.id, &[look]);
        lose_of(house, &mut fair, 8);
        assert_eq!(asked(house, &fair, 1), []);
    }

    fn what_the_stock_no_longer_bears_is_cut_whatever_the_answer(house: &House) {
        let mut fair = fair(house);
        let [first, second] = promised(house, &mut fair, "");
        lose_of(house, &mut fair, 28);
        assert_eq!(hold_of(house, &fair.giver, second).state, HoldState::Cut, "12 bear 10 and 2");
        let open = asked(house, &fair, 1).remove(0);
        assert_eq!(open.about, n(12), "and none of them need go out, if the giver's own need comes first");
        answer(house, &fair, open.id, NEED, 2).unwrap();
        assert_eq!(hold_of(house, &fair.giver, first).state, HoldState::Cut);
        let book = house.read(|tx| farm_book(tx, fair.giver.id));
        assert_eq!(book.lots[&fair.lot].in_store, n(12), "what is left stays with the giver");
    }

    fn a_later_loss_asks_anew(house: &House) {
        let mut fair = fair(house);
        promised(house, &mut fair, "");
        lose_of(house, &mut fair, 8);
        lose_of(house, &mut fair, 2);
        // Both of one moment here, so that their order says nothing.
        let found = asked(house, &fair, 1);
        let mut states: Vec<(Count, QuestionState)> =
            found.iter().map(|it| (it.about, it.state)).collect();
        states.sort_by_key(|(about, _)| *about);
        assert_eq!(states, [(n(3), QuestionState::Overtaken), (n(5), QuestionState::Asked)]);
    }

    fn a_farm_that_promised_beyond_its_own_need_knew_it(house: &House) {
        let mut fair = fair(house);
        promised(house, &mut fair, "");
        plan(house, &mut fair, 40);
        lose_of(house, &mut fair, 1);
        assert_eq!(asked(house, &fair, 1), [], "it lacked all 15 before the loss");
    }

    fn every_state_of_a_question_and_every_act(house: &House) {
        for state in QuestionState::ALL {
            for act in QuestionAct::ALL {
                let mark = format!(" {} {}", state.code(), act.code());
                let mut fair = fair_of(house, &mark);
                promised(house, &mut fair, &mark);
                lose_of(house, &mut fair, 8);
                let id = asked(house, &fair, 1)[0].id;
                match state {
                    QuestionState::Asked => {}
                    QuestionState::PromiseStands => drop(answer(house, &fair, id, PROMISE, 2).unwrap()),
                    QuestionState::NeedStands => drop(answer(house, &fair, id, NEED, 2).unwrap()),
                    QuestionState::Overtaken => lose_of(house, &mut fair, 1),
                }
                let now = |house: &House| house.read(|tx| questions::question(tx, fair.giver.id, id, later(3))).state;
                assert_eq!(now(house), *state, "on the way");
                let done = match act {
                    QuestionAct::OvertakeByHouse => continue,
                    act => answer(house, &fair, id, *act, 3),
                };
                match state.after(*act) {
                    Ok(next) => assert_eq!((done.unwrap().state, now(house)), (next, next)),
                    Err(why) => {
                        assert_eq!(done, refused(why));
                        assert_eq!(now(house), *state);
                    }
                }
            }
        }
    }

    fn a_question_is_between_the_server_and_its_farm(house: &House) {
        let mut fair = fair(house);
        promised(house, &mut fair, "");
        lose_of(house, &mut fair, 8);
        let id = asked(house, &fair, 1)[0].id;
        let others = house.try_write(|tx| questions::answer(tx, fair.taker.id, id, NEED, later(2)));
        assert_eq!(others, Err(Missing::Question.into()));
    }

    fn the_coordinators_rule_says_whose_hold_is_cut_and_every_farm_hears_of_it(house: &House) {
        let mut fair = fair(house);
        let by = (fair.network.id, fair.network.coordinator);
        assert_eq!(house.read(|tx| cut_rules::rule(tx, fair.network.id)), CutRule::NewestFirst);
        house.write(|tx| cut_rules::set(tx, by, CutRule::ByShares, later(0)));
        assert!(told(house, fair.taker.id)[0].contains("every hold by its share"));
        let [first, second] = promised(house, &mut fair, "");
        // 9 bear three fifths of 15.
        lose_of(house, &mut fair, 31);
        for (hold, kept) in [(first, 6), (second, 3)] {
            let cut = hold_of(house, &fair.giver, hold);
            assert_eq!(cut.state, HoldState::Cut);
            let rest = house.read(|tx| spareloop_store::holds::live(tx, cut.taker.id, later(1)));
            assert_eq!((rest[0].count, rest[0].cut_from), (n(kept), Some(hold)));
        }
        house.store().check().unwrap();
    }
}
