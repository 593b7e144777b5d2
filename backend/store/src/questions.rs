//! Questions to givers: a loss left enough for what is held and too few for their own plan besides.
//!
//! Asked in the transaction that takes the loss, after what the stock no longer bears was cut; an answer
//! for own need cuts by the same rule. What may not enter: when to ask and about how many, which `domain`
//! says.

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use diesel::{ExpressionMethods, OptionalExtension, QueryDsl, Queryable, RunQueryDsl};
use spareloop_domain::exchange::cut::{OfferedLot, cut_for_loss, promised};
use spareloop_domain::exchange::question::{ANSWER_WITHIN_DAYS, Need};
use spareloop_domain::exchange::{QuestionAct, QuestionState};
use spareloop_domain::ledger::Book;
use spareloop_domain::ledger::book::{Lot, LotCondition};
use spareloop_domain::ledger::history::{Firmness, firmness};
use spareloop_domain::settings::Settings;
use spareloop_domain::words::{Count, FarmId, HoldId, LotId, QuestionId, UnitKind, VarietyId};

use crate::holds::{hold, lapse_overdue_of};
use crate::ledger::lock_farm;
use crate::offers::{lock_offers_of, offered_lots};
use crate::promises::{Because, carry_out};
use crate::schema::{farms, offers, questions};
use crate::text::{count, micros, moment, read, today};
use crate::{Missing, StoreError, Tx, cut_rules, farm_book, fresh, messages, turns};

/// Most questions of a list.
const MOST: i64 = 200;

/// A question as its giver sees it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Question {
    /// Its id.
    pub id: QuestionId,
    /// The lot of which some were lost.
    pub lot: LotId,
    /// The variety as the giver spells it.
    pub variety: String,
    /// What a unit is.
    pub unit: UnitKind,
    /// About how many.
    pub about: Count,
    /// What they were reckoned from.
    pub need: Need,
    /// How it stands; one whose date has passed keeps the promise, whether or not that is written down.
    pub state: QuestionState,
    /// When it was asked.
    pub asked_at: DateTime<Utc>,
    /// By when it is answered.
    pub answer_by: DateTime<Utc>,
}

#[derive(Queryable)]
struct QuestionRow {
    id: String,
    _network: String,
    _farm: String,
    lot: String,
    variety: String,
    unit: String,
    asked_about: i64,
    planned: i64,
    in_store: i64,
    held: i64,
    state: String,
    asked_at: NaiveDateTime,
    answer_by_at: NaiveDateTime,
    _answered_at: Option<NaiveDateTime>,
}

impl QuestionRow {
    fn question(self, now: DateTime<Utc>) -> Result<Question, StoreError> {
        let state: QuestionState = read(&self.state)?;
        Ok(Question {
            id: read(&self.id)?,
            lot: read(&self.lot)?,
            variety: self.variety,
            unit: read(&self.unit)?,
            about: count(self.asked_about)?,
            need: Need {
                planned: count(self.planned)?,
                in_store: count(self.in_store)?,
                held: count(self.held)?,
            },
            state: state.at(micros(self.answer_by_at), micros(moment(now))),
            asked_at: self.asked_at.and_utc(),
            answer_by: self.answer_by_at.and_utc(),
        })
    }
}

/// The farm's questions, newest first.
pub fn questions(
    tx: &mut Tx<'_>,
    farm: FarmId,
    now: DateTime<Utc>,
) -> Result<Vec<Question>, StoreError> {
    let rows: Vec<QuestionRow> = questions::table
        .filter(questions::farm.eq(farm.to_string()))
        .order(questions::id.desc())
        .limit(MOST)
        .load(tx.connection)?;
    rows.into_iter().map(|row| row.question(now)).collect()
}

/// One of the farm's questions.
pub fn question(
    tx: &mut Tx<'_>,
    farm: FarmId,
    id: QuestionId,
    now: DateTime<Utc>,
) -> Result<Question, StoreError> {
    let row: Option<QuestionRow> = questions::table
        .filter(questions::farm.eq(farm.to_string()))
        .filter(questions::id.eq(id.to_string()))
        .first(tx.connection)
        .optional()?;
    row.ok_or(Missing::Question)?.question(now)
}

/// The farm's book before entries are taken, where holds bind any of its stock.
pub(crate) fn before(tx: &mut Tx<'_>, farm: FarmId) -> Result<Option<Arc<Book>>, StoreError> {
    let held: Option<String> = offers::table
        .filter(offers::farm.eq(farm.to_string()))
        .filter(offers::held.gt(0))
        .select(offers::id)
        .first(tx.connection)
        .optional()?;
    held.map(|_| farm_book(tx, farm)).transpose()
}

type Offered = BTreeMap<LotId, Vec<OfferedLot>>;

fn held_of(offers: &[OfferedLot]) -> impl Iterator<Item = (HoldId, Count)> {
    let holds = offers.iter().flat_map(|offer| &offer.holds);
    holds.filter(|hold| hold.state.is_live()).map(|hold| (hold.hold, hold.count))
}

fn held_count(offers: &[OfferedLot]) -> Count {
    held_of(offers).map(|(_, count)| count).sum()
}

/// What a farm has of a lot's variety and kind, and what it is for; none without a plan.
fn need(book: &Book, offered: &Offered, lot: &Lot) -> Option<Need> {
    let plan = book.plans.get(&(lot.variety, lot.unit))?;
    let same = |other: &LotId| {
        book.lots.get(other).is_some_and(|it| (it.variety, it.unit) == (lot.variety, lot.unit))
    };
    let lots = offered.iter().filter(|(other, _)| same(other));
    Some(Need {
        planned: plan.plants_wanted,
        in_store: in_store(book, lot.variety, lot.unit),
        held: lots.map(|(_, offers)| held_count(offers)).sum(),
    })
}

/// Over all lots that may be used.
fn in_store(book: &Book, variety: VarietyId, unit: UnitKind) -> Count {
    let lots = book.lots.values().filter(|lot| (lot.variety, lot.unit) == (variety, unit));
    lots.filter(|lot| !matches!(lot.condition, LotCondition::Stopped(_)))
        .map(|lot| lot.in_store)
        .sum()
}

/// Asks the giver about provisional promises of lots of which entries left too few for its own plan, and
/// tells the takers. What the stock no longer bears must have been cut.
pub(crate) fn ask_after(
    tx: &mut Tx<'_>,
    farm: FarmId,
    before: Option<Arc<Book>>,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let Some(before) = before else { return Ok(()) };
    let book = farm_book(tx, farm)?;
    let offered = offered_lots(tx, farm, now)?;
    let days = u32::from(Settings::default().firm_within_days);
    for (id, of_lot) in &offered {
        let (Some(was), Some(is)) = (before.lots.get(id), book.lots.get(id)) else { continue };
        // The look that found the loss makes nothing firm that was promised before it.
        let provisional = firmness(was, today(now)?, days) == Firmness::Provisional;
        if is.in_store >= was.in_store || !provisional {
            continue;
        }
        let Some(need) = need(&book, &offered, is) else { continue };
        let in_store_before = in_store(&before, was.variety, was.unit);
        let Some(about) = need.asked_after(in_store_before, held_count(of_lot)) else { continue };
        let name = book.varieties.get(&is.variety).map_or("", |card| card.name.as_str());
        ask(tx, farm, (*id, name, is.unit), (about, need), now)?;
        tell_takers_of_asking(tx, farm, (name, of_lot), now)?;
    }
    Ok(())
}

fn answer_by(now: DateTime<Utc>) -> DateTime<Utc> {
    now + TimeDelta::days(i64::from(ANSWER_WITHIN_DAYS))
}

fn ask(
    tx: &mut Tx<'_>,
    farm: FarmId,
    (lot, variety, unit): (LotId, &str, UnitKind),
    (about, need): (Count, Need),
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    overtake(tx, farm, lot, now)?;
    let network: String =
        farms::table.find(farm.to_string()).select(farms::network).first(tx.connection)?;
    diesel::insert_into(questions::table)
        .values((
            questions::id.eq(QuestionId::new(fresh::uuid(now)?).to_string()),
            questions::network.eq(network),
            questions::farm.eq(farm.to_string()),
            questions::lot.eq(lot.to_string()),
            questions::variety.eq(variety),
            questions::unit.eq(unit.code()),
            questions::asked_about.eq(i64::from(about)),
            questions::planned.eq(i64::from(need.planned)),
            questions::in_store.eq(i64::from(need.in_store)),
            questions::held.eq(i64::from(need.held)),
            questions::state.eq(QuestionState::Asked.code()),
            questions::asked_at.eq(moment(now)),
            questions::answer_by_at.eq(moment(answer_by(now))),
        ))
        .execute(tx.connection)?;
    let Need { planned, in_store, held } = need;
    let told = format!(
        "After the loss in lot {} you have {in_store} of '{variety}' in store; you plan {planned} \
         yourself and {held} are held by others. The lot had not been looked over lately, so you may say \
         which yields for {about}: your own need or the promise. Answer by {}; without an answer the \
         promise stands.",
        lot.code(),
        answer_by(now).format("%Y-%m-%d %H:%M UTC")
    );
    messages::tell(tx, farm, None, &told, now)
}

/// Ends what was asked of the lot before: by the later loss, or as its date left it.
fn overtake(
    tx: &mut Tx<'_>,
    farm: FarmId,
    lot: LotId,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let open: Option<QuestionRow> = questions::table
        .filter(questions::farm.eq(farm.to_string()))
        .filter(questions::lot.eq(lot.to_string()))
        .filter(questions::state.eq(QuestionState::Asked.code()))
        .first(tx.connection)
        .optional()?;
    let Some(open) = open else { return Ok(()) };
    let open = open.question(now)?;
    let state = open.state.after(QuestionAct::OvertakeByHouse).unwrap_or(open.state);
    put_state(tx, open.id, state, now)
}

fn put_state(
    tx: &mut Tx<'_>,
    id: QuestionId,
    state: QuestionState,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    diesel::update(questions::table.find(id.to_string()))
        .set((questions::state.eq(state.code()), questions::answered_at.eq(Some(moment(now)))))
        .execute(tx.connection)?;
    Ok(())
}

fn tell_takers_of_asking(
    tx: &mut Tx<'_>,
    farm: FarmId,
    (variety, of_lot): (&str, &[OfferedLot]),
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    for (id, count) in held_of(of_lot).collect::<Vec<_>>() {
        let held = hold(tx, farm, id, now)?;
        let told = format!(
            "{} noted a loss of '{variety}', of which you hold {count}. There are enough for you, but not \
             for its own plan besides; the lot had not been looked over lately, so it is asked which \
             yields, by {}. You will hear; without an answer your hold stands.",
            held.giver.name,
            answer_by(now).format("%Y-%m-%d %H:%M UTC")
        );
        messages::tell(tx, held.taker.id, Some(id), &told, now)?;
    }
    Ok(())
}

/// The giver says which yields.
pub fn answer(
    tx: &mut Tx<'_>,
    farm: FarmId,
    id: QuestionId,
    act: QuestionAct,
    now: DateTime<Utc>,
) -> Result<Question, StoreError> {
    question(tx, farm, id, now)?;
    lock_farm(tx, farm)?;
    let found = question(tx, farm, id, now)?;
    let state = found.state.after(act).map_err(StoreError::refuse)?;
    put_state(tx, id, state, now)?;
    match state {
        QuestionState::NeedStands => keep_need(tx, farm, &found, now)?,
        QuestionState::PromiseStands | QuestionState::Asked | QuestionState::Overtaken => {
            keep_promise(tx, farm, &found, now)?;
        }
    }
    question(tx, farm, id, now)
}

fn keep_promise(
    tx: &mut Tx<'_>,
    farm: FarmId,
    asked: &Question,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let offered = offered_lots(tx, farm, now)?;
    let of_lot = offered.get(&asked.lot).map_or(&[][..], Vec::as_slice);
    for (id, count) in held_of(of_lot).collect::<Vec<_>>() {
        let held = hold(tx, farm, id, now)?;
        let told = format!(
            "{} keeps its promise: your hold of {count} of '{}' stands.",
            held.giver.name, asked.variety
        );
        messages::tell(tx, held.taker.id, Some(id), &told, now)?;
    }
    Ok(())
}

/// What nobody holds of the lot is offered no more, and holds are cut by as many as are lacking still.
fn keep_need(
    tx: &mut Tx<'_>,
    farm: FarmId,
    asked: &Question,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let standing = lock_offers_of(tx, farm)?;
    for offer in &standing {
        lapse_overdue_of(tx, offer, now)?;
    }
    let book = farm_book(tx, farm)?;
    let offered = offered_lots(tx, farm, now)?;
    let of_lot = offered.get(&asked.lot).map_or(&[][..], Vec::as_slice);
    let lacks = book.lots.get(&asked.lot).and_then(|lot| need(&book, &offered, lot));
    let yields = lacks.map_or(Count::ZERO, Need::lacks).min(asked.about);
    let unheld = promised(of_lot).less(held_count(of_lot));
    if let Some(offer) = standing.iter().find(|offer| offer.lot == asked.lot) {
        let rule = cut_rules::rule(tx, offer.network)?;
        let stays = promised(of_lot).less(unheld).less(yields);
        let cuts = cut_for_loss(stays, of_lot, rule);
        carry_out(tx, &standing, &cuts, Because::OwnNeed, now)?;
    }
    for offer in &standing {
        turns::call_next(tx, offer.network, offer.id, now)?;
    }
    Ok(())
}
