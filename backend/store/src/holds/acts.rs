//! What becomes of a hold before anything changes hands: agreed, released, lapsed.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use diesel::{ExpressionMethods, QueryDsl, RunQueryDsl};
use spareloop_domain::exchange::{HoldAct, HoldState, Party};
use spareloop_domain::words::{FarmId, HoldId, NetworkId, OfferId};

use super::step::cover_want;
use super::{Actor, Counters, Hold, add_step, hold, settle_overdue};
use crate::offers;
use crate::schema::hold_now;
use crate::text::{free, moment, read};
use crate::{Refused, StoreError, Tx, messages, turns};

/// Most offers whose overdue holds one run of the job takes.
const OFFERS_A_RUN: usize = 100;

/// The giver agrees to the hold.
pub fn agree(
    tx: &mut Tx<'_>,
    farm: FarmId,
    id: HoldId,
    why: &str,
    now: DateTime<Utc>,
) -> Result<Hold, StoreError> {
    let why = free(why, "the reason")?;
    let mut found = lock_hold(tx, farm, id, now)?;
    let state = after(&found, farm, HoldAct::AgreeByGiver)?;
    add_step(tx, &mut found, state, Actor::Farm(farm), why, now)?;
    let told = format!(
        "{} agreed to hold {} of '{}' for you.{}",
        found.giver.name,
        found.count,
        found.variety,
        said(why)
    );
    messages::tell(tx, found.taker.id, Some(id), &told, now)?;
    hold(tx, farm, id, now)
}

/// Either side gives the hold up; its count is free again.
pub fn release(
    tx: &mut Tx<'_>,
    farm: FarmId,
    id: HoldId,
    why: &str,
    now: DateTime<Utc>,
) -> Result<Hold, StoreError> {
    let why = free(why, "the reason")?;
    let mut found = lock_hold(tx, farm, id, now)?;
    let giving = found.giver.id == farm;
    let act = if giving { HoldAct::ReleaseByGiver } else { HoldAct::ReleaseByTaker };
    let state = after(&found, farm, act)?;
    add_step(tx, &mut found, state, Actor::Farm(farm), why, now)?;
    Counters::Freed(found.count).write(tx, found.offer, now)?;
    let (who, whom) = found.who_and_whom(farm);
    let told = format!(
        "{} released the hold of {} of '{}'.{}",
        who.name,
        found.count,
        found.variety,
        said(why)
    );
    messages::tell(tx, whom.id, Some(id), &told, now)?;
    cover_want(tx, &found, now)?;
    turns::call_next(tx, found.network, found.offer, now)?;
    hold(tx, farm, id, now)
}

/// Writes down the lapse of holds whose time has passed; answers how many. Any server may run it:
/// each offer is locked first, so that no hold lapses twice. Ask again while it answers above 0.
pub fn lapse_overdue(tx: &mut Tx<'_>, now: DateTime<Utc>) -> Result<usize, StoreError> {
    let overdue: Vec<(String, String)> = hold_now::table
        .filter(hold_now::state.eq(HoldState::Held.code()))
        .filter(hold_now::lapses_at.le(moment(now)))
        .select((hold_now::offer, hold_now::network))
        .load(tx.connection)?;
    let offers: BTreeSet<(String, String)> = overdue.into_iter().collect();
    let mut lapsed = 0;
    for (offer, network) in offers.into_iter().take(OFFERS_A_RUN) {
        let locked = offers::lock(tx, read::<NetworkId>(&network)?, read::<OfferId>(&offer)?)?;
        lapsed += settle_overdue(tx, &locked, now)?;
    }
    Ok(lapsed)
}

/// Locks the hold's offer, then reads the hold.
pub(crate) fn lock_hold(
    tx: &mut Tx<'_>,
    farm: FarmId,
    id: HoldId,
    now: DateTime<Utc>,
) -> Result<Hold, StoreError> {
    let before = hold(tx, farm, id, now)?;
    offers::lock(tx, before.network, before.offer)?;
    hold(tx, farm, id, now)
}

/// Where the act leads, asked of the act (who may) and of the state (whether it may now).
pub(crate) fn after(hold: &Hold, farm: FarmId, act: HoldAct) -> Result<HoldState, StoreError> {
    let may = match act.by() {
        Party::Giver => hold.giver.id == farm,
        Party::Taker => hold.taker.id == farm,
        Party::Part | Party::House | Party::Noter | Party::OtherFarm | Party::Coordinator => false,
    };
    if !may {
        return Err(StoreError::refuse(Refused::OnlyBy(act.by())));
    }
    hold.state.after(act).map_err(StoreError::refuse)
}

fn said(why: &str) -> String {
    if why.is_empty() { String::new() } else { format!(" They say: {why}") }
}
