//! The line for an offer of which not enough is free: first come, first held.
//!
//! What comes free is held for the first in line for a while, in the transaction that frees it; if its
//! farm lets that lapse, the next one's turn comes in the transaction that sees it. What may not enter:
//! how many are held for the first, which `domain` says.

use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use diesel::result::{DatabaseErrorKind, Error as DieselError};
use diesel::{
    BoolExpressionMethods, ExpressionMethods, JoinOnDsl, OptionalExtension, QueryDsl, Queryable,
    RunQueryDsl,
};
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::exchange::turn::held_for_the_first;
use spareloop_domain::exchange::{OfferAct, OfferState, TurnAct, TurnState};
use spareloop_domain::words::{
    Count, FarmId, HoldId, NetworkId, OfferId, Purpose, TurnId, UnitKind, WantId,
};

use crate::holds::{self, AskHold};
use crate::schema::{farms, offers as offers_table, turns};
use crate::text::{count, free, moment, read, read_some};
use crate::{Missing, Named, Refused, StoreError, Taken, Tx, fresh, limits, messages, offers};

/// How long something is held for the first in line (ours: two days, so that a weekend away costs
/// nobody a turn and the next one does not wait for a week).
pub const HELD_FOR: TimeDelta = TimeDelta::hours(48);

/// A turn about to be taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewTurn {
    /// Its id, made by the client.
    pub id: TurnId,
    /// For which offer.
    pub offer: OfferId,
    /// How many are wished for; fewer are held if fewer come free.
    pub count: Count,
    /// The want it is for, if any.
    pub want: Option<WantId>,
    /// Swap or gift.
    pub purpose: Purpose,
    /// What the two farms take one unit to be worth; 0 for a gift.
    pub unit_value: Tenths,
    /// A line to the giver.
    pub note: String,
}

/// A turn as its two farms see it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Turn {
    /// Its id.
    pub id: TurnId,
    /// The offer.
    pub offer: OfferId,
    /// Who gives.
    pub giver: Named<FarmId>,
    /// Who waits.
    pub taker: Named<FarmId>,
    /// The variety's name as the giver spells it.
    pub variety: String,
    /// What a unit is.
    pub unit: UnitKind,
    /// How many are wished for.
    pub count: Count,
    /// Since when.
    pub asked_at: DateTime<Utc>,
    /// How it stands.
    pub state: TurnState,
    /// Its place in the line, from 1, while it waits.
    pub place: Option<u64>,
    /// What was held for it.
    pub hold: Option<HoldId>,
}

impl NewTurn {
    fn asked(&self, id: HoldId, count: Count, now: DateTime<Utc>) -> AskHold {
        AskHold {
            id,
            offer: self.offer,
            count,
            want: self.want,
            purpose: self.purpose,
            unit_value: self.unit_value,
            unit_price: None,
            lapses_at: now + HELD_FOR,
            note: self.note.clone(),
        }
    }
}

/// Takes a turn in the line for an offer, where less than is wished for is free.
pub fn wait(
    tx: &mut Tx<'_>,
    network: NetworkId,
    taker: FarmId,
    new: &NewTurn,
    now: DateTime<Utc>,
) -> Result<Turn, StoreError> {
    let note = free(&new.note, "the note")?;
    let offer = offers::lock(tx, network, new.offer)?;
    // Only what could be held is waited for: the same rules, but for how many are free.
    holds::may_ask(
        tx,
        (network, taker),
        &new.asked(HoldId::new(new.id.uuid()), new.count, now),
        &offer,
        now,
    )?;
    holds::settle_overdue(tx, &offer, now)?;
    let free = offers::offer(tx, network, offer.id, now)?.free();
    if free >= new.count {
        return Err(StoreError::refuse(Refused::FreeAlready { free }));
    }
    diesel::insert_into(turns::table)
        .values((
            turns::id.eq(new.id.to_string()),
            turns::network.eq(network.to_string()),
            turns::offer.eq(offer.id.to_string()),
            turns::taker.eq(taker.to_string()),
            turns::want.eq(new.want.map(|want| want.to_string())),
            turns::count.eq(i64::from(new.count)),
            turns::purpose.eq(new.purpose.code()),
            turns::unit_value_tenths.eq(new.unit_value.0),
            turns::note.eq(note),
            turns::asked_at.eq(moment(now)),
            turns::state.eq(TurnState::Waiting.code()),
        ))
        .execute(tx.connection)
        .map_err(waits_already)?;
    let made = turn(tx, network, taker, new.id)?;
    let told = format!(
        "{} waits in line for {} of '{}': what comes free is held for them.",
        made.taker.name, made.count, made.variety
    );
    messages::tell(tx, made.giver.id, None, &told, now)?;
    // Less than is wished for may be free: that much is held for the first in line at once, as it would be
    // at the next thing that happens to the offer.
    call_next(tx, network, offer.id, now)?;
    turn(tx, network, taker, new.id)
}

fn waits_already(error: DieselError) -> StoreError {
    match error {
        DieselError::DatabaseError(DatabaseErrorKind::UniqueViolation, _) => {
            crate::Conflict::AlreadyTaken(Taken::Turn).into()
        }
        other => other.into(),
    }
}

/// Gives a turn up.
pub fn leave(
    tx: &mut Tx<'_>,
    network: NetworkId,
    taker: FarmId,
    id: TurnId,
) -> Result<Turn, StoreError> {
    let found = turn(tx, network, taker, id)?;
    offers::lock(tx, network, found.offer)?;
    let found = turn(tx, network, taker, id)?;
    if found.taker.id != taker {
        return Err(StoreError::refuse(Refused::OnlyBy(TurnAct::LeaveByTaker.by())));
    }
    let state = found.state.after(TurnAct::LeaveByTaker).map_err(StoreError::refuse)?;
    set_state(tx, id, state, None)?;
    turn(tx, network, taker, id)
}

fn set_state(
    tx: &mut Tx<'_>,
    id: TurnId,
    state: TurnState,
    hold: Option<HoldId>,
) -> Result<(), StoreError> {
    diesel::update(turns::table.find(id.to_string()))
        .set((turns::state.eq(state.code()), turns::hold.eq(hold.map(|hold| hold.to_string()))))
        .execute(tx.connection)?;
    Ok(())
}

#[derive(Queryable)]
struct TurnRow {
    id: String,
    _network: String,
    offer: String,
    taker: String,
    want: Option<String>,
    count: i64,
    purpose: String,
    unit_value_tenths: i64,
    note: String,
    asked_at: NaiveDateTime,
    state: String,
    hold: Option<String>,
}

impl TurnRow {
    fn new_turn(&self) -> Result<NewTurn, StoreError> {
        Ok(NewTurn {
            id: read(&self.id)?,
            offer: read(&self.offer)?,
            count: count(self.count)?,
            want: read_some(self.want.as_deref())?,
            purpose: read(&self.purpose)?,
            unit_value: Tenths(self.unit_value_tenths),
            note: self.note.clone(),
        })
    }

    fn turn(self, tx: &mut Tx<'_>) -> Result<Turn, StoreError> {
        let (giver, giver_name, variety, unit): (String, String, String, String) =
            offers_table::table
                .inner_join(farms::table.on(farms::id.eq(offers_table::farm)))
                .filter(offers_table::id.eq(&self.offer))
                .select((farms::id, farms::name, offers_table::variety, offers_table::unit))
                .first(tx.connection)?;
        let taker_name: String =
            farms::table.find(&self.taker).select(farms::name).first(tx.connection)?;
        let state: TurnState = read(&self.state)?;
        let place = match state {
            TurnState::Waiting => {
                let before: i64 = turns::table
                    .filter(turns::offer.eq(&self.offer))
                    .filter(turns::state.eq(TurnState::Waiting.code()))
                    .filter(
                        turns::asked_at
                            .lt(self.asked_at)
                            .or(turns::asked_at.eq(self.asked_at).and(turns::id.lt(&self.id))),
                    )
                    .count()
                    .get_result(tx.connection)?;
                Some(crate::text::unsigned(before)? + 1)
            }
            _ => None,
        };
        Ok(Turn {
            id: read(&self.id)?,
            offer: read(&self.offer)?,
            giver: Named { id: read(&giver)?, name: giver_name },
            taker: Named { id: read(&self.taker)?, name: taker_name },
            variety,
            unit: read(&unit)?,
            count: count(self.count)?,
            asked_at: self.asked_at.and_utc(),
            state,
            place,
            hold: read_some(self.hold.as_deref())?,
        })
    }
}

/// One turn that the farm takes, or that is taken for its offer.
pub fn turn(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
    id: TurnId,
) -> Result<Turn, StoreError> {
    let own = offers_table::table
        .filter(offers_table::farm.eq(farm.to_string()))
        .select(offers_table::id);
    let row: Option<TurnRow> = turns::table
        .filter(turns::network.eq(network.to_string()))
        .filter(turns::id.eq(id.to_string()))
        .filter(turns::taker.eq(farm.to_string()).or(turns::offer.eq_any(own)))
        .first(tx.connection)
        .optional()?;
    row.ok_or(Missing::Turn)?.turn(tx)
}

/// The turns that wait, of the farm or for its offers, by offer and place; at most `limit`.
pub fn waiting(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
    limit: u32,
) -> Result<Vec<Turn>, StoreError> {
    let own = offers_table::table
        .filter(offers_table::farm.eq(farm.to_string()))
        .select(offers_table::id);
    let rows: Vec<TurnRow> = turns::table
        .filter(turns::network.eq(network.to_string()))
        .filter(turns::state.eq(TurnState::Waiting.code()))
        .filter(turns::taker.eq(farm.to_string()).or(turns::offer.eq_any(own)))
        .order((turns::offer, turns::asked_at, turns::id))
        .limit(i64::from(limit))
        .load(tx.connection)?;
    rows.into_iter().map(|row| row.turn(tx)).collect()
}

/// Holds what is free of a locked offer for those first in line, as long as it reaches. A farm that a
/// limit or a withdrawn want keeps from it gives its turn to the next.
pub(crate) fn call_next(
    tx: &mut Tx<'_>,
    network: NetworkId,
    offer: OfferId,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    loop {
        let Some(first) = first_in_line(tx, offer)? else { return Ok(()) };
        let found = offers::offer(tx, network, offer, now)?;
        if found.state.after(OfferAct::AskHoldByTaker).is_err() {
            return Ok(());
        }
        let new = first.new_turn()?;
        let taker: FarmId = read(&first.taker)?;
        let Some(units) = held_for_the_first(found.free(), new.count, found.smallest_parcel) else {
            return Ok(());
        };
        let hold = HoldId::new(fresh::uuid(now)?);
        let asked = new.asked(hold, units, now);
        let may = holds::may_ask(tx, (network, taker), &asked, &found, now).and_then(|caution| {
            limits_allow(tx, network, (found.farm, taker), &asked, now).map(|()| caution)
        });
        match may {
            Ok(caution) => {
                let why = ("first in line", caution.as_deref());
                holds::hold_for(tx, (network, taker), &asked, found, why, now)?;
                let state = TurnState::Waiting.after(TurnAct::CallByHouse);
                set_state(tx, new.id, state.map_err(StoreError::refuse)?, Some(hold))?;
                let until = asked.lapses_at.format("%Y-%m-%d %H:%M UTC");
                let told = format!(
                    "Your turn: {units} of '{}' came free and are held for you until {until}.",
                    variety_of(tx, offer)?
                );
                messages::tell(tx, taker, Some(hold), &told, now)?;
            }
            Err(StoreError::Refused(why)) => {
                let state = TurnState::Waiting.after(TurnAct::CloseByHouse);
                set_state(tx, new.id, state.map_err(StoreError::refuse)?, None)?;
                let told = format!(
                    "Your turn came for {units} of '{}', and could not be held for you: {why}.",
                    variety_of(tx, offer)?
                );
                messages::tell(tx, taker, None, &told, now)?;
            }
            Err(StoreError::Missing(Missing::Want)) => {
                let state = TurnState::Waiting.after(TurnAct::CloseByHouse);
                set_state(tx, new.id, state.map_err(StoreError::refuse)?, None)?;
            }
            Err(other) => return Err(other),
        }
    }
}

// The farms' rows can't be locked here, after the offer's. What two turns at once let through is
// refused at the hand-over, which locks them.
fn limits_allow(
    tx: &mut Tx<'_>,
    network: NetworkId,
    (giver, taker): (FarmId, FarmId),
    asked: &AskHold,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let value = holds::value(asked.count, asked.unit_value);
    let limits = limits::of_these(tx, &[giver, taker])?;
    limits.check(tx, network, (giver, value), now)?;
    limits.check(tx, network, (taker, Tenths(-value.0)), now)
}

fn variety_of(tx: &mut Tx<'_>, offer: OfferId) -> Result<String, StoreError> {
    Ok(offers_table::table
        .find(offer.to_string())
        .select(offers_table::variety)
        .first(tx.connection)?)
}

fn first_in_line(tx: &mut Tx<'_>, offer: OfferId) -> Result<Option<TurnRow>, StoreError> {
    Ok(turns::table
        .filter(turns::offer.eq(offer.to_string()))
        .filter(turns::state.eq(TurnState::Waiting.code()))
        .order((turns::asked_at, turns::id))
        .first(tx.connection)
        .optional()?)
}

/// Ends the line of a locked offer that has ended, and tells those in it.
pub(crate) fn close_line(
    tx: &mut Tx<'_>,
    offer: OfferId,
    state: OfferState,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    while let Some(first) = first_in_line(tx, offer)? {
        let closed = TurnState::Waiting.after(TurnAct::CloseByHouse).map_err(StoreError::refuse)?;
        set_state(tx, read(&first.id)?, closed, None)?;
        let told = format!(
            "The offer of '{}' that you waited in line for is {state}: your turn won't come.",
            variety_of(tx, offer)?
        );
        messages::tell(tx, read(&first.taker)?, None, &told, now)?;
    }
    Ok(())
}
