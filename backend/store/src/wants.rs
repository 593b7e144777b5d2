//! Wants: published short.

use std::collections::BTreeSet;

use chrono::{DateTime, NaiveDateTime, Utc};
use diesel::dsl::{count_star, sql};
use diesel::sql_types::BigInt;
use diesel::{
    BoolExpressionMethods, ExpressionMethods, OptionalExtension, QueryDsl, Queryable, RunQueryDsl,
};
use spareloop_domain::attest::FactKind;
use spareloop_domain::exchange::{GreatestDistance, HoldState, WantAct, WantState};
use spareloop_domain::words::{
    Count, Day, FarmId, NetworkId, UnitKind, VarietyName, WantId, fold_key,
};

use crate::error::taken;
use crate::offers::Sought;
use crate::schema::{hold_now, wants};
use crate::text::{count, free, moment, read, read_some};
use crate::{Missing, Refused, StoreError, Taken, Tx, people, whereabouts};

/// A want about to be made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewWant {
    /// Its id, made by the client.
    pub id: WantId,
    /// The variety wanted first.
    pub variety: VarietyName,
    /// Varieties taken instead, best first; empty accepts none.
    pub instead: Vec<VarietyName>,
    /// What a unit is.
    pub unit: UnitKind,
    /// How many.
    pub count: Count,
    /// Needed by.
    pub needed_by: Option<Day>,
    /// In words; may be empty.
    pub conditions: String,
    /// Kinds of signed statement that an offer must bear.
    pub required: BTreeSet<FactKind>,
    /// From how far away it may come; the farm must have said where it is.
    pub within: Option<GreatestDistance>,
}

/// A want.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Want {
    /// Its id.
    pub id: WantId,
    /// Its network.
    pub network: NetworkId,
    /// Whose.
    pub farm: FarmId,
    /// The variety wanted first.
    pub variety: String,
    /// The key on which the name is matched.
    pub variety_key: String,
    /// Varieties taken instead, best first.
    pub instead: Vec<VarietyName>,
    /// What a unit is.
    pub unit: UnitKind,
    /// How many.
    pub count: Count,
    /// On the way: held, agreed, or handed over and not received yet.
    pub under_way: Count,
    /// Received for it.
    pub received: Count,
    /// Needed by.
    pub needed_by: Option<Day>,
    /// In words.
    pub conditions: String,
    /// Kinds of signed statement that an offer must bear.
    pub required: BTreeSet<FactKind>,
    /// From how far away it may come.
    pub within: Option<GreatestDistance>,
    /// How it stands.
    pub state: WantState,
    /// When it was published.
    pub made_at: DateTime<Utc>,
}

impl Want {
    /// Whether it is of a variety of that name, first or instead.
    pub(crate) fn takes(&self, variety: &str) -> bool {
        let key = fold_key(variety);
        self.variety_key == key || self.instead.iter().any(|name| name.key() == key)
    }

    /// Neither under way nor received.
    pub const fn open(&self) -> Count {
        self.count.less(self.under_way).less(self.received)
    }
}

#[derive(Queryable)]
struct WantRow {
    id: String,
    network: String,
    farm: String,
    variety: String,
    variety_key: String,
    instead: String,
    unit: String,
    count: i64,
    received: i64,
    needed_by: Option<String>,
    conditions: String,
    state: String,
    made_at: NaiveDateTime,
    required: String,
    within_km: Option<i64>,
}

impl WantRow {
    fn want(self, tx: &mut Tx<'_>, now: DateTime<Utc>) -> Result<Want, StoreError> {
        let under_way = under_way(tx, &self.id, now)?;
        Ok(Want {
            id: read(&self.id)?,
            network: read(&self.network)?,
            farm: read(&self.farm)?,
            variety: self.variety,
            variety_key: self.variety_key,
            instead: serde_json::from_str(&self.instead).map_err(StoreError::corrupt)?,
            unit: read(&self.unit)?,
            count: count(self.count)?,
            under_way,
            received: count(self.received)?,
            needed_by: read_some(self.needed_by.as_deref())?,
            conditions: self.conditions,
            required: serde_json::from_str(&self.required).map_err(StoreError::corrupt)?,
            within: self.within_km.map(distance).transpose()?,
            state: read(&self.state)?,
            made_at: self.made_at.and_utc(),
        })
    }
}

fn distance(kilometres: i64) -> Result<GreatestDistance, StoreError> {
    let kilometres = u16::try_from(kilometres).map_err(StoreError::corrupt)?;
    kilometres.try_into().map_err(StoreError::corrupt)
}

/// What is promised for the want and has not arrived.
fn under_way(tx: &mut Tx<'_>, want: &str, now: DateTime<Utc>) -> Result<Count, StoreError> {
    let counts: Vec<i64> = hold_now::table
        .filter(hold_now::want.eq(Some(want)))
        .filter(
            hold_now::state
                .eq(HoldState::Held.code())
                .and(hold_now::lapses_at.gt(moment(now)))
                .or(hold_now::state.eq(HoldState::Agreed.code()))
                .or(hold_now::state.eq(HoldState::HandedOver.code())),
        )
        .select(hold_now::count)
        .load(tx.connection)?;
    Ok(counts.into_iter().map(count).collect::<Result<Vec<_>, _>>()?.into_iter().sum())
}

/// Publishes what is short.
pub fn make(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
    new: &NewWant,
    now: DateTime<Utc>,
) -> Result<Want, StoreError> {
    if new.count.is_zero() {
        return Err(StoreError::refuse(Refused::Nothing { what: "the count wanted" }));
    }
    people::farm(tx, network, farm)?;
    if new.within.is_some() && whereabouts::of_farm(tx, farm)?.is_none() {
        return Err(StoreError::refuse(Refused::NowhereYet));
    }
    diesel::insert_into(wants::table)
        .values((
            wants::id.eq(new.id.to_string()),
            wants::network.eq(network.to_string()),
            wants::farm.eq(farm.to_string()),
            wants::variety.eq(new.variety.as_str()),
            wants::variety_key.eq(new.variety.key()),
            wants::instead.eq(serde_json::to_string(&new.instead).map_err(StoreError::broken)?),
            wants::unit.eq(new.unit.code()),
            wants::count.eq(i64::from(new.count)),
            wants::needed_by.eq(new.needed_by.map(|day| day.to_string())),
            wants::conditions.eq(free(&new.conditions, "the conditions")?),
            wants::required.eq(serde_json::to_string(&new.required).map_err(StoreError::broken)?),
            wants::within_km.eq(new.within.map(|it| i64::from(it.kilometres().0))),
            wants::state.eq(WantState::Open.code()),
            wants::made_at.eq(moment(now)),
        ))
        .execute(tx.connection)
        .map_err(taken(Taken::Want))?;
    want(tx, network, new.id, now)
}

/// Takes a want of the farm back; holds that stand are kept.
pub fn withdraw(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
    id: WantId,
    now: DateTime<Utc>,
) -> Result<Want, StoreError> {
    let locked = lock(tx, network, id, now)?;
    if locked.farm != farm {
        return Err(StoreError::refuse(Refused::OnlyBy(WantAct::WithdrawByTaker.by())));
    }
    let state = locked.state.after(WantAct::WithdrawByTaker).map_err(StoreError::refuse)?;
    set_state(tx, id, state)?;
    want(tx, network, id, now)
}

/// One want of the network.
pub fn want(
    tx: &mut Tx<'_>,
    network: NetworkId,
    id: WantId,
    now: DateTime<Utc>,
) -> Result<Want, StoreError> {
    let row: Option<WantRow> = wants::table
        .filter(wants::network.eq(network.to_string()))
        .filter(wants::id.eq(id.to_string()))
        .first(tx.connection)
        .optional()?;
    row.ok_or(Missing::Want)?.want(tx, now)
}

/// The network's open wants, by id, after `after` if it is given; at most `limit`.
pub fn board(
    tx: &mut Tx<'_>,
    network: NetworkId,
    after: Option<WantId>,
    limit: u32,
    now: DateTime<Utc>,
) -> Result<Vec<Want>, StoreError> {
    board_of(tx, network, &Sought::default(), after, limit, now)
}

/// The same, of what is sought: by the variety wanted first.
pub fn board_of(
    tx: &mut Tx<'_>,
    network: NetworkId,
    sought: &Sought,
    after: Option<WantId>,
    limit: u32,
    now: DateTime<Utc>,
) -> Result<Vec<Want>, StoreError> {
    let mut query = wants::table
        .filter(wants::network.eq(network.to_string()))
        .filter(wants::state.eq(WantState::Open.code()))
        .order(wants::id)
        .limit(i64::from(limit))
        .into_boxed();
    if let Some(after) = after {
        query = query.filter(wants::id.gt(after.to_string()));
    }
    if let Some(variety) = &sought.variety {
        query = query.filter(wants::variety_key.eq(variety.key()));
    }
    if let Some(unit) = sought.unit {
        query = query.filter(wants::unit.eq(unit.code()));
    }
    let rows: Vec<WantRow> = query.load(tx.connection)?;
    rows.into_iter().map(|row| row.want(tx, now)).collect()
}

/// Sums over the network's open wants, one of which differs whenever a want does.
pub(crate) fn sums(tx: &mut Tx<'_>, network: NetworkId) -> Result<[i64; 3], StoreError> {
    let of = |column: &str| sql::<BigInt>(&format!("coalesce(cast(sum({column}) AS bigint), 0)"));
    let (number, count, received): (i64, i64, i64) = wants::table
        .filter(wants::network.eq(network.to_string()))
        .filter(wants::state.eq(WantState::Open.code()))
        .select((count_star(), of("count"), of("received")))
        .first(tx.connection)?;
    Ok([number, count, received])
}

/// The farm's own wants in every state, by id, after `after` if it is given; at most `limit`.
pub fn of_farm(
    tx: &mut Tx<'_>,
    farm: FarmId,
    after: Option<WantId>,
    limit: u32,
    now: DateTime<Utc>,
) -> Result<Vec<Want>, StoreError> {
    let mut query = wants::table
        .filter(wants::farm.eq(farm.to_string()))
        .order(wants::id)
        .limit(i64::from(limit))
        .into_boxed();
    if let Some(after) = after {
        query = query.filter(wants::id.gt(after.to_string()));
    }
    let rows: Vec<WantRow> = query.load(tx.connection)?;
    rows.into_iter().map(|row| row.want(tx, now)).collect()
}

/// Locks a want by writing it; always the last locks of a transaction, in the order of ids.
pub(crate) fn lock(
    tx: &mut Tx<'_>,
    network: NetworkId,
    id: WantId,
    now: DateTime<Utc>,
) -> Result<Want, StoreError> {
    let row: Option<WantRow> = diesel::update(
        wants::table
            .filter(wants::network.eq(network.to_string()))
            .filter(wants::id.eq(id.to_string())),
    )
    .set(wants::received.eq(wants::received))
    .returning(wants::all_columns)
    .get_result(tx.connection)
    .optional()?;
    row.ok_or(Missing::Want)?.want(tx, now)
}

fn set_state(tx: &mut Tx<'_>, id: WantId, state: WantState) -> Result<(), StoreError> {
    diesel::update(wants::table.find(id.to_string()))
        .set(wants::state.eq(state.code()))
        .execute(tx.connection)?;
    Ok(())
}

/// Adds what arrived for the want, held at the ceiling of a count: more could not be read again.
pub(crate) fn add_received(tx: &mut Tx<'_>, id: WantId, received: Count) -> Result<(), StoreError> {
    let before: i64 = diesel::update(wants::table.find(id.to_string()))
        .set(wants::received.eq(wants::received))
        .returning(wants::received)
        .get_result(tx.connection)?;
    diesel::update(wants::table.find(id.to_string()))
        .set(wants::received.eq(i64::from(count(before)?.plus(received))))
        .execute(tx.connection)?;
    Ok(())
}

/// Brings the want's state in line with what covers it, after one of its holds changed.
pub(crate) fn cover(
    tx: &mut Tx<'_>,
    network: NetworkId,
    id: WantId,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    let locked = lock(tx, network, id, now)?;
    let act = if locked.open().is_zero() { WantAct::FillByHouse } else { WantAct::FreeByHouse };
    match locked.state.after(act) {
        Ok(state) => set_state(tx, id, state),
        // It is so already, or was withdrawn meanwhile.
        Err(_) => Ok(()),
    }
}
