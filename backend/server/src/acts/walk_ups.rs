//! What is brought to a swap day without having been planned, and what passes there on the spot.

use spareloop_api::exchange::{HoldView, OfferView, PassOnTheSpot};
use spareloop_api::rounds::BringWalkUp;
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::words::{OfferId, ProposalId, VarietyName};
use spareloop_store::hand_overs::NewHandOver;
use spareloop_store::walk_ups::{self, Brought, OnTheSpot};

use super::exchange::offer_view;
use super::field;
use super::holds::shown;
use crate::auth::caller::Grower;
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::Key;

/// A farm brings something to a swap day.
pub async fn bring(
    house: &House,
    grower: Grower,
    key: &Key,
    swap_day: ProposalId,
    request: BringWalkUp,
) -> Result<OfferView, ServerError> {
    let act = key.act(&house.keys, grower.person, "bring walk-up", &(swap_day, &request))?;
    let variety: VarietyName = field("variety", &request.variety)?;
    let new = Brought {
        offer: request.offer,
        lot: request.lot,
        variety,
        unit: request.unit,
        count: request.count,
    };
    let (who, now, today) = ((grower.network, grower.farm), house.now(), house.today()?);
    house
        .settle(act, move |tx| {
            let made = walk_ups::bring(tx, who, swap_day, &new, now)?;
            offer_view(tx, made, now, today)
        })
        .await
}

/// The giver hands some of an offer over on the spot.
pub async fn pass(
    house: &House,
    grower: Grower,
    key: &Key,
    offer: OfferId,
    request: PassOnTheSpot,
) -> Result<HoldView, ServerError> {
    let act = key.act(&house.keys, grower.person, "pass on the spot", &(offer, &request))?;
    let new = OnTheSpot {
        hold: request.hold,
        hand_over: NewHandOver {
            id: request.hand_over,
            given: request.count,
            on: request.on,
            condition: request.condition,
        },
        offer,
        taker: request.to,
        purpose: request.purpose,
        unit_value: Tenths(i64::from(request.unit_value_tenths)),
        unit_price: request.unit_price,
    };
    let (who, now) = ((grower.network, grower.farm), house.now());
    house
        .settle(act, move |tx| {
            let done = walk_ups::pass(tx, who, &new, now)?;
            shown(tx, done)
        })
        .await
}
