//! How far from even a farm may get, as its coordinator sets it, and how every farm stands.
//!
//! A farm without a limit of its own is not bounded when it agrees a hold with another farm; a round
//! bounds it by its own usual limit. What may not enter: whether a standing is within a limit, which
//! `domain` says.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use diesel::dsl::sql;
use diesel::sql_types::BigInt;
use diesel::{
    BoolExpressionMethods, ExpressionMethods, JoinOnDsl, NullableExpressionMethods, QueryDsl,
    RunQueryDsl, sql_query,
};
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::exchange::{HoldState, Limit, Standing};
use spareloop_domain::words::{FarmId, NetworkId, Purpose};

use crate::schema::{farm_limits, hand_overs, hold_now, owed_book};
use crate::text::{moment, read};
use crate::{StoreError, Tx, messages, people};

/// Sets a farm's limit, or takes it away, and tells the farm.
pub fn set(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
    limit: Option<Limit>,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    people::farm(tx, network, farm)?;
    crate::ledger::lock_farm(tx, farm)?;
    let told = if let Some(limit) = limit {
        sql_query(
            "INSERT INTO farm_limits (farm, network, tenths, set_at) VALUES ($1, $2, $3, $4) \
             ON CONFLICT (farm) DO UPDATE SET tenths = excluded.tenths, set_at = excluded.set_at",
        )
        .bind::<diesel::sql_types::Text, _>(farm.to_string())
        .bind::<diesel::sql_types::Text, _>(network.to_string())
        .bind::<BigInt, _>(i64::from(limit))
        .bind::<diesel::sql_types::Timestamp, _>(moment(now))
        .execute(tx.connection)?;
        format!(
            "The coordinator set your farm's limit in the owed book: it may be owed, or owe, up to {}.",
            limit.tenths()
        )
    } else {
        diesel::delete(farm_limits::table.find(farm.to_string())).execute(tx.connection)?;
        "The coordinator took your farm's limit in the owed book away.".to_owned()
    };
    messages::tell(tx, farm, None, &told, now)
}

/// The limits that are set in a network.
pub fn all(tx: &mut Tx<'_>, network: NetworkId) -> Result<BTreeMap<FarmId, Limit>, StoreError> {
    let rows: Vec<(String, i64)> = farm_limits::table
        .filter(farm_limits::network.eq(network.to_string()))
        .select((farm_limits::farm, farm_limits::tenths))
        .load(tx.connection)?;
    rows.into_iter().map(limit_of).collect()
}

fn limit_of((farm, tenths): (String, i64)) -> Result<(FarmId, Limit), StoreError> {
    Ok((read(&farm)?, Limit::try_from(tenths).map_err(StoreError::corrupt)?))
}

/// How a farm stands at `now`: what is booked or on its way, and what living holds promise.
pub fn standing(
    tx: &mut Tx<'_>,
    network: NetworkId,
    farm: FarmId,
    now: DateTime<Utc>,
) -> Result<Standing, StoreError> {
    let (network, farm) = (network.to_string(), farm.to_string());
    let all = || sql::<BigInt>("coalesce(cast(sum(tenths) AS bigint), 0)");
    let given: i64 = owed_book::table
        .filter(owed_book::network.eq(&network))
        .filter(owed_book::from_farm.eq(&farm))
        .select(all())
        .first(tx.connection)?;
    let got: i64 = owed_book::table
        .filter(owed_book::network.eq(&network))
        .filter(owed_book::to_farm.eq(&farm))
        .select(all())
        .first(tx.connection)?;
    let mut standing = Standing { booked: Tenths(given - got), promised: Tenths(0) };
    let holds: Vec<(String, i64, i64, String, Option<i64>)> = hold_now::table
        .left_join(hand_overs::table.on(hand_overs::hold.eq(hold_now::id)))
        .filter(hold_now::network.eq(&network))
        .filter(hold_now::giver.eq(&farm).or(hold_now::taker.eq(&farm)))
        .filter(hold_now::purpose.eq(Purpose::Swap.code()))
        .filter(
            hold_now::state
                .eq(HoldState::Held.code())
                .and(hold_now::lapses_at.gt(moment(now)))
                .or(hold_now::state.eq(HoldState::Agreed.code()))
                .or(hold_now::state.eq(HoldState::HandedOver.code())),
        )
        .select((
            hold_now::giver,
            hold_now::count,
            hold_now::unit_value_tenths,
            hold_now::state,
            hand_overs::given.nullable(),
        ))
        .load(tx.connection)?;
    for (giver, count, unit_value, state, handed_over) in holds {
        let state: HoldState = read(&state)?;
        let value = handed_over.unwrap_or(count).saturating_mul(unit_value);
        let value = if giver == farm { value } else { -value };
        if state.has_changed_hands() {
            standing.booked.0 += value;
        } else {
            standing.promised.0 += value;
        }
    }
    Ok(standing)
}

/// The limits of some farms, of which most have none of their own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Limits(BTreeMap<FarmId, Limit>);

/// The limits of those of the farms that have one of their own.
pub(crate) fn of_these(tx: &mut Tx<'_>, farms: &[FarmId]) -> Result<Limits, StoreError> {
    let ids: Vec<String> = farms.iter().map(ToString::to_string).collect();
    let rows: Vec<(String, i64)> = farm_limits::table
        .filter(farm_limits::farm.eq_any(ids))
        .select((farm_limits::farm, farm_limits::tenths))
        .load(tx.connection)?;
    rows.into_iter().map(limit_of).collect::<Result<_, _>>().map(Limits)
}

/// Locks those of the farms that have a limit of their own, in the order of ids, so that two acts at
/// once can't each stay within it and both together not. Before any offer is locked.
pub(crate) fn lock_bounded(tx: &mut Tx<'_>, farms: &[FarmId]) -> Result<Limits, StoreError> {
    let found = of_these(tx, farms)?;
    if found.0.is_empty() {
        return Ok(found);
    }
    for farm in found.0.keys() {
        crate::ledger::lock_farm(tx, *farm)?;
    }
    // As they stand now that nobody can change them.
    of_these(tx, farms)
}

/// Locks a giver's own row, which its ledger needs, and the taker's where it has a limit, in the order of
/// ids. Before any offer is locked.
pub(crate) fn lock_for_giving(
    tx: &mut Tx<'_>,
    giver: FarmId,
    taker: FarmId,
) -> Result<Limits, StoreError> {
    if taker < giver {
        lock_bounded(tx, &[taker])?;
    }
    crate::ledger::lock_farm(tx, giver)?;
    if taker > giver {
        lock_bounded(tx, &[taker])?;
    }
    of_these(tx, &[giver, taker])
}

impl Limits {
    /// Whether a farm may take on `more` (above 0 for what it gives); one without a limit of its own
    /// always may.
    pub(crate) fn check(
        &self,
        tx: &mut Tx<'_>,
        network: NetworkId,
        (farm, more): (FarmId, Tenths),
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let Some(limit) = self.0.get(&farm) else { return Ok(()) };
        standing(tx, network, farm, now)?.takes_on(more, *limit).map_err(StoreError::refuse)
    }

    /// Whether something that is promised already may change hands.
    pub(crate) fn check_hand_over(
        &self,
        tx: &mut Tx<'_>,
        network: NetworkId,
        (farm, value): (FarmId, Tenths),
        now: DateTime<Utc>,
    ) -> Result<(), StoreError> {
        let Some(limit) = self.0.get(&farm) else { return Ok(()) };
        standing(tx, network, farm, now)?.lets_pass(value, *limit).map_err(StoreError::refuse)
    }
}
