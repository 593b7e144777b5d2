//! Holds from the asking to the receipt.

use chrono::TimeDelta;
use spareloop_api::exchange::{AskHold, HandOver, HoldView, Reason, Receipt};
use spareloop_domain::exchange::HoldState;
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::words::{HandOverId, HoldId, OfferId};
use spareloop_store::hand_overs::{self, NewHandOver, NewReceipt};
use spareloop_store::holds::{self, Hold};
use spareloop_store::{StoreError, Tx, movement, parcels, payments};
use uuid::Uuid;

use super::refused;
use crate::auth::caller::Grower;
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::Key;
use crate::views::exchange as views;

/// Hours until a hold lapses unless it says otherwise.
pub const USUAL_HOURS: u16 = 72;
const MOST_HOURS: u16 = 336;

/// Asks for a hold on another farm's offer.
pub async fn ask(
    house: &House,
    grower: Grower,
    key: &Key,
    offer: OfferId,
    request: AskHold,
) -> Result<HoldView, ServerError> {
    let act = key.act(&house.keys, grower.person, "ask hold", &(offer, &request))?;
    let hours = request.hours.unwrap_or(USUAL_HOURS);
    if !(1..=MOST_HOURS).contains(&hours) {
        return Err(refused("hours", format!("1 to {MOST_HOURS} (got {hours})")));
    }
    let now = house.now();
    let asked = holds::AskHold {
        id: request.hold,
        offer,
        count: request.count,
        want: request.want,
        purpose: request.purpose,
        unit_value: Tenths(i64::from(request.unit_value_tenths)),
        unit_price: request.unit_price,
        lapses_at: now + TimeDelta::hours(i64::from(hours)),
        note: request.note,
    };
    house
        .settle(act, move |tx| {
            let done = holds::ask(tx, grower.network, grower.farm, &asked, now)?;
            shown(tx, done)
        })
        .await
}

/// The holds that the farm gives or takes, by id.
pub async fn list(
    house: &House,
    grower: Grower,
    after: Option<Uuid>,
    limit: u32,
) -> Result<Vec<HoldView>, ServerError> {
    let now = house.now();
    house
        .read(move |tx| {
            let found = holds::holds(tx, grower.farm, after.map(HoldId::new), limit, now)?;
            let movements = movement::of_network(tx, grower.network)?;
            found
                .into_iter()
                .map(|hold| {
                    let movement = movements.between(hold.giver.id, hold.taker.id).caution();
                    with_what_hangs_on_it(tx, hold, movement)
                })
                .collect()
        })
        .await
}

/// One hold that the farm gives or takes.
pub async fn one(house: &House, grower: Grower, hold: HoldId) -> Result<HoldView, ServerError> {
    let now = house.now();
    house
        .read(move |tx| {
            let found = holds::hold(tx, grower.farm, hold, now)?;
            shown(tx, found)
        })
        .await
}

/// A hold with what both farms are told where its stock goes from region to region.
pub(super) fn shown(tx: &mut Tx<'_>, hold: Hold) -> Result<HoldView, StoreError> {
    let movement = movement::caution(tx, hold.network, (hold.giver.id, hold.taker.id))?;
    with_what_hangs_on_it(tx, hold, movement)
}

/// A hold with its parcel and its payments; one that is not agreed has neither.
fn with_what_hangs_on_it(
    tx: &mut Tx<'_>,
    hold: Hold,
    movement: Option<String>,
) -> Result<HoldView, StoreError> {
    if hold.state == HoldState::Held {
        return Ok(HoldView { movement, ..views::hold(hold) });
    }
    let parcel = parcels::of(tx, hold.id)?.map(views::parcel);
    let payments = payments::of(tx, hold.id)?.into_iter().map(views::payment).collect();
    Ok(HoldView { movement, parcel, payments, ..views::hold(hold) })
}

/// The giver agrees.
pub async fn agree(
    house: &House,
    grower: Grower,
    key: &Key,
    hold: HoldId,
    reason: Reason,
) -> Result<HoldView, ServerError> {
    let act = key.act(&house.keys, grower.person, "agree hold", &(hold, &reason))?;
    let now = house.now();
    house
        .settle(act, move |tx| {
            let done = holds::agree(tx, grower.farm, hold, &reason.why, now)?;
            shown(tx, done)
        })
        .await
}

/// Either farm releases the hold.
pub async fn release(
    house: &House,
    grower: Grower,
    key: &Key,
    hold: HoldId,
    reason: Reason,
) -> Result<HoldView, ServerError> {
    let act = key.act(&house.keys, grower.person, "release hold", &(hold, &reason))?;
    let now = house.now();
    house
        .settle(act, move |tx| {
            let done = holds::release(tx, grower.farm, hold, &reason.why, now)?;
            shown(tx, done)
        })
        .await
}

/// The giver hands over.
pub async fn hand_over(
    house: &House,
    grower: Grower,
    key: &Key,
    hold: HoldId,
    request: HandOver,
) -> Result<HoldView, ServerError> {
    let act = key.act(&house.keys, grower.person, "hand over", &(hold, &request))?;
    let new = NewHandOver {
        id: request.hand_over,
        given: request.given,
        on: request.on,
        condition: request.condition,
    };
    let now = house.now();
    house
        .settle(act, move |tx| {
            let done = hand_overs::hand_over(tx, grower.farm, hold, &new, now)?;
            shown(tx, done)
        })
        .await
}

/// The taker confirms what arrived.
pub async fn receive(
    house: &House,
    grower: Grower,
    key: &Key,
    hand_over: HandOverId,
    request: Receipt,
) -> Result<HoldView, ServerError> {
    let act = key.act(&house.keys, grower.person, "receive", &(hand_over, &request))?;
    let new = NewReceipt {
        received: request.received,
        on: request.on,
        condition: request.condition,
        arrival: request.arrival,
    };
    let now = house.now();
    house
        .settle(act, move |tx| {
            let done = hand_overs::receive(tx, grower.farm, hand_over, &new, now)?;
            shown(tx, done)
        })
        .await
}
