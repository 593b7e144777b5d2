//! Holds: a promise of a count until a time.
//!
//! A hold's terms are one row that is never edited; what happens to it are steps that are only
//! added; its state is its last step. Every act locks the offer first, then reads, then asks
//! `domain` where the act leads, then writes.

mod acts;
mod ask;
mod promised;
mod step;

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDateTime, Utc};
use diesel::{
    BoolExpressionMethods, ExpressionMethods, OptionalExtension, QueryDsl, Queryable, RunQueryDsl,
};
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::exchange::{HoldState, Money};
use spareloop_domain::words::{
    Count, FarmId, HoldId, Identity, LotId, NetworkId, OfferId, Purpose, UnitKind, WantId,
};

pub(crate) use acts::{after, lock_hold};
pub use acts::{agree, lapse_overdue, release};
pub use ask::{AskHold, ask};
pub(crate) use ask::{hold_for, may_ask, settle_overdue, value};
pub(crate) use promised::{Promise, keep_rest, leave, promise};
pub(crate) use step::{Actor, Counters, add_step, cover_want, insert, lapse_overdue_of};

use crate::hand_overs::{HandOver, hand_over_of};
use crate::schema::{farms, hold_now, hold_steps, offers};
use crate::text::{count, micros, moment, read, read_some};
use crate::{Missing, Named, StoreError, Tx, payments};

/// A hold as its two farms see it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hold {
    /// Its id.
    pub id: HoldId,
    /// Its network.
    pub network: NetworkId,
    /// The offer.
    pub offer: OfferId,
    /// The want it is for, if any.
    pub want: Option<WantId>,
    /// Who gives.
    pub giver: Named<FarmId>,
    /// Who takes.
    pub taker: Named<FarmId>,
    /// The giver's lot.
    pub lot: LotId,
    /// The variety's name as the giver spells it.
    pub variety: String,
    /// Whether the name is sure.
    pub identity: Identity,
    /// What a unit is.
    pub unit: UnitKind,
    /// How many.
    pub count: Count,
    /// What for.
    pub purpose: Purpose,
    /// What the two agreed that one unit is worth.
    pub unit_value: Tenths,
    /// What one unit is sold for, where it is a sale.
    pub unit_price: Option<Money>,
    /// How it stands; one whose time has passed is lapsed, whether or not that is written down.
    pub state: HoldState,
    /// Its place in the line.
    pub asked_at: DateTime<Utc>,
    /// When it lapses if nobody acts.
    pub lapses_at: DateTime<Utc>,
    /// The taker's line.
    pub note: String,
    /// The hold of which a loss left this one.
    pub cut_from: Option<HoldId>,
    /// The hand-over, once there is one.
    pub hand_over: Option<HandOver>,
    /// Its life, oldest first.
    pub steps: Vec<Step>,
    pub(crate) step: i64,
}

impl Hold {
    /// The farm that acts, and the other one.
    pub(crate) fn who_and_whom(&self, acts: FarmId) -> (&Named<FarmId>, &Named<FarmId>) {
        if self.giver.id == acts { (&self.giver, &self.taker) } else { (&self.taker, &self.giver) }
    }
}

/// One step in a hold's life.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    /// The state it came to.
    pub state: HoldState,
    /// When, on the server's clock.
    pub at: DateTime<Utc>,
    /// Which farm; `None` where the server acted by itself.
    pub by: Option<FarmId>,
    /// Why, in words.
    pub why: String,
}

#[derive(Queryable)]
struct HoldRow {
    id: String,
    network: String,
    offer: String,
    want: Option<String>,
    giver: String,
    taker: String,
    count: i64,
    purpose: String,
    unit_value_tenths: i64,
    asked_at: NaiveDateTime,
    lapses_at: NaiveDateTime,
    cut_from: Option<String>,
    note: String,
    step: i64,
    state: String,
    _since: NaiveDateTime,
}

/// The state at `now` of a hold whose last step came to `state`.
pub(crate) fn state_at(
    state: HoldState,
    lapses_at: NaiveDateTime,
    now: DateTime<Utc>,
) -> HoldState {
    let overdue = state.is_live() && !state.counts_at(micros(lapses_at), micros(moment(now)));
    if overdue { HoldState::Lapsed } else { state }
}

/// One hold that the farm gives or takes.
pub fn hold(
    tx: &mut Tx<'_>,
    farm: FarmId,
    id: HoldId,
    now: DateTime<Utc>,
) -> Result<Hold, StoreError> {
    let farm = farm.to_string();
    let row: Option<HoldRow> = hold_now::table
        .filter(hold_now::id.eq(id.to_string()))
        .filter(hold_now::giver.eq(&farm).or(hold_now::taker.eq(&farm)))
        .first(tx.connection)
        .optional()?;
    let row = row.ok_or(Missing::Hold)?;
    let mut names = BTreeMap::new();
    row.hold(tx, &mut names, now)
}

/// The holds that the farm gives or takes, by id, after `after` if it is given; at most `limit`.
pub fn holds(
    tx: &mut Tx<'_>,
    farm: FarmId,
    after: Option<HoldId>,
    limit: u32,
    now: DateTime<Utc>,
) -> Result<Vec<Hold>, StoreError> {
    let farm = farm.to_string();
    let mut query = hold_now::table
        .filter(hold_now::giver.eq(farm.clone()).or(hold_now::taker.eq(farm)))
        .order(hold_now::id)
        .limit(i64::from(limit))
        .into_boxed();
    if let Some(after) = after {
        query = query.filter(hold_now::id.gt(after.to_string()));
    }
    let rows: Vec<HoldRow> = query.load(tx.connection)?;
    let mut names = BTreeMap::new();
    rows.into_iter().map(|row| row.hold(tx, &mut names, now)).collect()
}

/// The farm's holds that are held, agreed or handed over and not received yet, oldest first.
pub fn live(tx: &mut Tx<'_>, farm: FarmId, now: DateTime<Utc>) -> Result<Vec<Hold>, StoreError> {
    let farm = farm.to_string();
    let held = hold_now::state.eq(HoldState::Held.code());
    let rows: Vec<HoldRow> = hold_now::table
        .filter(hold_now::giver.eq(farm.clone()).or(hold_now::taker.eq(farm)))
        .filter(
            (held.and(hold_now::lapses_at.gt(moment(now))))
                .or(hold_now::state.eq(HoldState::Agreed.code()))
                .or(hold_now::state.eq(HoldState::HandedOver.code())),
        )
        .order(hold_now::id)
        .load(tx.connection)?;
    let mut names = BTreeMap::new();
    rows.into_iter().map(|row| row.hold(tx, &mut names, now)).collect()
}

impl HoldRow {
    fn hold(
        self,
        tx: &mut Tx<'_>,
        names: &mut BTreeMap<String, String>,
        now: DateTime<Utc>,
    ) -> Result<Hold, StoreError> {
        let (lot, variety, identity, unit): (String, String, String, String) = offers::table
            .find(&self.offer)
            .select((offers::lot, offers::variety, offers::identity, offers::unit))
            .first(tx.connection)?;
        let id: HoldId = read(&self.id)?;
        let purpose: Purpose = read(&self.purpose)?;
        let unit_price = match purpose {
            Purpose::Sale => payments::price(tx, id)?,
            _ => None,
        };
        Ok(Hold {
            id,
            network: read(&self.network)?,
            offer: read(&self.offer)?,
            want: read_some(self.want.as_deref())?,
            giver: named(tx, names, &self.giver)?,
            taker: named(tx, names, &self.taker)?,
            lot: read(&lot)?,
            variety,
            identity: read(&identity)?,
            unit: read(&unit)?,
            count: count(self.count)?,
            purpose,
            unit_value: Tenths(self.unit_value_tenths),
            unit_price,
            state: state_at(read(&self.state)?, self.lapses_at, now),
            asked_at: self.asked_at.and_utc(),
            lapses_at: self.lapses_at.and_utc(),
            note: self.note,
            cut_from: read_some(self.cut_from.as_deref())?,
            hand_over: hand_over_of(tx, id)?,
            steps: steps(tx, id)?,
            step: self.step,
        })
    }
}

/// The farm with its name, looked up once a list.
fn named(
    tx: &mut Tx<'_>,
    names: &mut BTreeMap<String, String>,
    farm: &str,
) -> Result<Named<FarmId>, StoreError> {
    if !names.contains_key(farm) {
        let name = farms::table.find(farm).select(farms::name).first(tx.connection)?;
        names.insert(farm.to_owned(), name);
    }
    let name = names.get(farm).cloned().unwrap_or_default();
    Ok(Named { id: read(farm)?, name })
}

fn steps(tx: &mut Tx<'_>, hold: HoldId) -> Result<Vec<Step>, StoreError> {
    let rows: Vec<(String, NaiveDateTime, Option<String>, String)> = hold_steps::table
        .filter(hold_steps::hold.eq(hold.to_string()))
        .order(hold_steps::number)
        .select((hold_steps::state, hold_steps::at, hold_steps::by_farm, hold_steps::why))
        .load(tx.connection)?;
    rows.into_iter()
        .map(|(state, at, by, why)| {
            Ok(Step { state: read(&state)?, at: at.and_utc(), by: read_some(by.as_deref())?, why })
        })
        .collect()
}
