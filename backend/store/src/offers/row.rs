//! An offer as a row: its lock, its counters, and how the rule of cuts sees it.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDateTime, Utc};
use diesel::{
    BoolExpressionMethods, ExpressionMethods, JoinOnDsl, NullableExpressionMethods,
    OptionalExtension, QueryDsl, Queryable, RunQueryDsl,
};
use spareloop_domain::exchange::cut::{LiveHold, OfferedLot};
use spareloop_domain::exchange::{HoldState, OfferAct, OfferState};
use spareloop_domain::words::{Count, FarmId, LotId, NetworkId, OfferId};

use super::Offer;
use crate::kept::Kept;
use crate::schema::{hand_overs, hold_now, offers};
use crate::text::{count, micros, moment, read};
use crate::{Missing, StoreError, Tx, turns};

#[derive(Queryable)]
pub(super) struct OfferRow {
    id: String,
    network: String,
    farm: String,
    lot: String,
    variety: String,
    variety_key: String,
    identity: String,
    unit: String,
    count: i64,
    held: i64,
    passed: i64,
    smallest_parcel: i64,
    conditions: String,
    state: String,
    made_at: NaiveDateTime,
    version: i64,
    open_to: String,
}

pub(super) const COLUMNS: <offers::table as diesel::Table>::AllColumns = offers::all_columns;

impl TryFrom<OfferRow> for Offer {
    type Error = StoreError;
    fn try_from(row: OfferRow) -> Result<Self, StoreError> {
        Ok(Self {
            id: read(&row.id)?,
            network: read(&row.network)?,
            farm: read(&row.farm)?,
            lot: read(&row.lot)?,
            variety: row.variety,
            variety_key: row.variety_key,
            identity: read(&row.identity)?,
            unit: read(&row.unit)?,
            count: count(row.count)?,
            held: count(row.held)?,
            passed: count(row.passed)?,
            smallest_parcel: count(row.smallest_parcel)?,
            conditions: row.conditions,
            state: read(&row.state)?,
            made_at: row.made_at.and_utc(),
            version: row.version,
            open_to: read(&row.open_to)?,
        })
    }
}

/// Locks an offer of the network by writing it, until the transaction ends, and reads it.
pub(crate) fn lock(tx: &mut Tx<'_>, network: NetworkId, id: OfferId) -> Result<Offer, StoreError> {
    let locking = diesel::update(
        offers::table
            .filter(offers::network.eq(network.to_string()))
            .filter(offers::id.eq(id.to_string())),
    )
    .set(offers::version.eq(offers::version + 1))
    .returning(COLUMNS);
    let row: Option<OfferRow> = Kept(locking).get_result(tx.connection).optional()?;
    Offer::try_from(row.ok_or(Missing::Offer)?)
}

/// Offers that still promise something. All others are history, of which there is ever more.
macro_rules! promising {
    () => {
        offers::held
            .gt(0)
            .or(offers::state.eq(OfferState::Open.code()))
            .or(offers::state.eq(OfferState::SetAside.code()))
    };
}

/// Locks every offer of the farm that still promises something, in the order of ids.
pub(crate) fn lock_offers_of(tx: &mut Tx<'_>, farm: FarmId) -> Result<Vec<Offer>, StoreError> {
    let ids: Vec<(String, String)> = offers::table
        .filter(offers::farm.eq(farm.to_string()))
        .filter(promising!())
        .order(offers::id)
        .select((offers::network, offers::id))
        .load(tx.connection)?;
    ids.into_iter().map(|(network, id)| lock(tx, read(&network)?, read(&id)?)).collect()
}

/// Writes a state that a transition gave.
pub(crate) fn set_state(tx: &mut Tx<'_>, id: OfferId, state: OfferState) -> Result<(), StoreError> {
    diesel::update(offers::table.find(id.to_string()))
        .set(offers::state.eq(state.code()))
        .execute(tx.connection)?;
    Ok(())
}

/// Closes a locked offer of which nothing is left to pass on.
pub(crate) fn close_if_gone(
    tx: &mut Tx<'_>,
    id: OfferId,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let (state, left): (String, i64) = offers::table
        .find(id.to_string())
        .select((offers::state, offers::count - offers::passed))
        .first(tx.connection)?;
    let state: OfferState = read(&state)?;
    match state.after(OfferAct::CloseByHouse) {
        Ok(closed) if left == 0 => {
            set_state(tx, id, closed)?;
            turns::close_line(tx, id, closed, now)
        }
        // One that has ended already stays as it is.
        Ok(_) | Err(_) => Ok(()),
    }
}

/// What holds of the offer bind by the counter although their time has passed.
pub(super) fn overdue(
    tx: &mut Tx<'_>,
    id: OfferId,
    now: DateTime<Utc>,
) -> Result<Count, StoreError> {
    let counts: Vec<i64> = hold_now::table
        .filter(hold_now::offer.eq(id.to_string()))
        .filter(hold_now::state.eq(HoldState::Held.code()))
        .filter(hold_now::lapses_at.le(moment(now)))
        .select(hold_now::count)
        .load(tx.connection)?;
    count(counts.iter().sum())
}

/// The farm's offers that still promise something, by lot, with their holds, as the rule of cuts
/// takes them.
pub(crate) fn offered_lots(
    tx: &mut Tx<'_>,
    farm: FarmId,
    now: DateTime<Utc>,
) -> Result<BTreeMap<LotId, Vec<OfferedLot>>, StoreError> {
    let rows: Vec<OfferRow> = offers::table
        .filter(offers::farm.eq(farm.to_string()))
        .filter(promising!())
        .order(offers::id)
        .select(COLUMNS)
        .load(tx.connection)?;
    let mut holds = holds_of_giver(tx, farm, now)?;
    let mut lots: BTreeMap<LotId, Vec<OfferedLot>> = BTreeMap::new();
    for row in rows {
        let offer = Offer::try_from(row)?;
        lots.entry(offer.lot).or_default().push(OfferedLot {
            offer: offer.id,
            state: offer.state,
            offered_at: micros(moment(offer.made_at)),
            count: offer.count,
            smallest_parcel: offer.smallest_parcel,
            holds: holds.remove(&offer.id).unwrap_or_default(),
        });
    }
    Ok(lots)
}

fn holds_of_giver(
    tx: &mut Tx<'_>,
    farm: FarmId,
    now: DateTime<Utc>,
) -> Result<BTreeMap<OfferId, Vec<LiveHold>>, StoreError> {
    type Row = (String, String, i64, NaiveDateTime, NaiveDateTime, String, Option<i64>);
    let rows: Vec<Row> = hold_now::table
        .inner_join(offers::table.on(offers::id.eq(hold_now::offer)))
        .left_join(hand_overs::table.on(hand_overs::hold.eq(hold_now::id)))
        .filter(promising!())
        .filter(hold_now::giver.eq(farm.to_string()))
        .select((
            hold_now::id,
            hold_now::offer,
            hold_now::count,
            hold_now::asked_at,
            hold_now::lapses_at,
            hold_now::state,
            hand_overs::given.nullable(),
        ))
        .load(tx.connection)?;
    let mut holds: BTreeMap<OfferId, Vec<LiveHold>> = BTreeMap::new();
    for (id, offer, held, asked_at, lapses_at, state, given) in rows {
        let state = crate::holds::state_at(read(&state)?, lapses_at, now);
        holds.entry(read(&offer)?).or_default().push(LiveHold {
            hold: read(&id)?,
            // What went out is what was given, also where that was less than was held.
            count: count(given.unwrap_or(held))?,
            asked_at: micros(asked_at),
            state,
        });
    }
    Ok(holds)
}
