//! A hold's rows: its terms, its next step, and the offer's counters that follow from it.

use chrono::{DateTime, NaiveDateTime, Utc};
use diesel::{ExpressionMethods, QueryDsl, RunQueryDsl};
use spareloop_domain::exchange::{HoldAct, HoldState};
use spareloop_domain::words::{Count, FarmId, HoldId, OfferId};

use super::{Hold, Step};
use crate::error::taken;
use crate::offers::{Offer, close_if_gone};
use crate::schema::{hold_now, hold_steps, holds, offers};
use crate::text::{moment, read};
use crate::{StoreError, Taken, Tx, messages, payments, wants};

/// Who takes a step.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Actor {
    Farm(FarmId),
    House,
}

impl Actor {
    const fn farm(self) -> Option<FarmId> {
        match self {
            Self::Farm(farm) => Some(farm),
            Self::House => None,
        }
    }
}

/// Writes a hold's terms. The counters of its offer are the caller's.
pub(crate) fn insert(tx: &mut Tx<'_>, hold: &Hold) -> Result<(), StoreError> {
    diesel::insert_into(holds::table)
        .values((
            holds::id.eq(hold.id.to_string()),
            holds::network.eq(hold.network.to_string()),
            holds::offer.eq(hold.offer.to_string()),
            holds::want.eq(hold.want.map(|want| want.to_string())),
            holds::giver.eq(hold.giver.id.to_string()),
            holds::taker.eq(hold.taker.id.to_string()),
            holds::count.eq(i64::from(hold.count)),
            holds::purpose.eq(hold.purpose.code()),
            holds::unit_value_tenths.eq(hold.unit_value.0),
            holds::asked_at.eq(moment(hold.asked_at)),
            holds::lapses_at.eq(moment(hold.lapses_at)),
            holds::cut_from.eq(hold.cut_from.map(|hold| hold.to_string())),
            holds::note.eq(&hold.note),
        ))
        .execute(tx.connection)
        .map_err(taken(Taken::Hold))?;
    match hold.unit_price {
        Some(price) => payments::put_price(tx, hold.id, price),
        None => Ok(()),
    }
}

/// Writes a hold's step; two that take the same step are told apart by the primary key.
pub(crate) fn add_step(
    tx: &mut Tx<'_>,
    hold: &mut Hold,
    state: HoldState,
    actor: Actor,
    why: &str,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    hold.step += 1;
    hold.state = state;
    let by = actor.farm();
    hold.steps.push(Step { state, at: moment(now).and_utc(), by, why: why.to_owned() });
    diesel::insert_into(hold_steps::table)
        .values((
            hold_steps::hold.eq(hold.id.to_string()),
            hold_steps::number.eq(hold.step),
            hold_steps::state.eq(state.code()),
            hold_steps::at.eq(moment(now)),
            hold_steps::by_farm.eq(by.map(|farm| farm.to_string())),
            hold_steps::why.eq(why),
        ))
        .execute(tx.connection)?;
    Ok(())
}

/// How an act changes what an offer's counters say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Counters {
    /// A hold binds that many no more.
    Freed(Count),
    /// Of a hold of that many, so many were handed over; the rest is free again.
    HandedOver {
        /// The hold's count.
        held: Count,
        /// What was given.
        given: Count,
    },
}

impl Counters {
    /// Writes it to the locked offer.
    pub(crate) fn write(
        self,
        tx: &mut Tx<'_>,
        offer: OfferId,
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let (held, passed) = match self {
            Self::Freed(count) => (i64::from(count), 0),
            Self::HandedOver { held, given } => (i64::from(held), i64::from(given)),
        };
        diesel::update(offers::table.find(offer.to_string()))
            .set((offers::held.eq(offers::held - held), offers::passed.eq(offers::passed + passed)))
            .execute(tx.connection)?;
        close_if_gone(tx, offer, now)
    }
}

/// Writes down the lapse of every overdue hold of a locked offer and tells both sides.
pub(crate) fn lapse_overdue_of(
    tx: &mut Tx<'_>,
    offer: &Offer,
    now: DateTime<Utc>,
) -> Result<usize, StoreError> {
    let overdue: Vec<(String, NaiveDateTime)> = hold_now::table
        .filter(hold_now::offer.eq(offer.id.to_string()))
        .filter(hold_now::state.eq(HoldState::Held.code()))
        .filter(hold_now::lapses_at.le(moment(now)))
        .order(hold_now::id)
        .select((hold_now::id, hold_now::lapses_at))
        .load(tx.connection)?;
    for (id, _) in &overdue {
        lapse(tx, offer.farm, read(id)?, now)?;
    }
    Ok(overdue.len())
}

fn lapse(tx: &mut Tx<'_>, giver: FarmId, id: HoldId, now: DateTime<Utc>) -> Result<(), StoreError> {
    let mut hold = super::hold(tx, giver, id, now)?;
    let state = HoldState::Held.after(HoldAct::LapseByHouse).map_err(StoreError::refuse)?;
    let ended = hold.lapses_at;
    // The step bears the time at which the hold ended, not the time at which the job saw it.
    add_step(tx, &mut hold, state, Actor::House, "its time passed", ended)?;
    Counters::Freed(hold.count).write(tx, hold.offer, now)?;
    let what = format!("{} of '{}'", hold.count, hold.variety);
    let to_taker = format!("Your hold of {what} from {} lapsed: its time passed.", hold.giver.name);
    let to_giver = format!("The hold of {what} for {} lapsed: it is free again.", hold.taker.name);
    messages::tell(tx, hold.taker.id, Some(id), &to_taker, now)?;
    messages::tell(tx, hold.giver.id, Some(id), &to_giver, now)?;
    cover_want(tx, &hold, now)
}

/// Brings the hold's want, if it has one, in line with what covers it.
pub(crate) fn cover_want(
    tx: &mut Tx<'_>,
    hold: &Hold,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    match hold.want {
        Some(want) => wants::cover(tx, hold.network, want, now),
        None => Ok(()),
    }
}
