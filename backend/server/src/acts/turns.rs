//! The line for an offer of which not enough is free.

use spareloop_api::exchange::{TurnView, WaitInLine};
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::words::{OfferId, TurnId};
use spareloop_store::turns::{self, NewTurn};

use crate::auth::caller::Grower;
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::Key;
use crate::views::exchange as views;

/// Most turns of a list.
const MOST: u32 = 500;

/// Waits for what comes free of an offer.
pub async fn wait(
    house: &House,
    grower: Grower,
    key: &Key,
    offer: OfferId,
    request: WaitInLine,
) -> Result<TurnView, ServerError> {
    let act = key.act(&house.keys, grower.person, "wait in line", &(offer, &request))?;
    let now = house.now();
    let new = NewTurn {
        id: request.turn,
        offer,
        count: request.count,
        want: request.want,
        purpose: request.purpose,
        unit_value: Tenths(i64::from(request.unit_value_tenths)),
        note: request.note,
    };
    house
        .settle(act, move |tx| {
            turns::wait(tx, grower.network, grower.farm, &new, now).map(views::turn)
        })
        .await
}

/// The turns that wait, of the farm or for its offers.
pub async fn list(house: &House, grower: Grower) -> Result<Vec<TurnView>, ServerError> {
    let found = house.read(move |tx| turns::waiting(tx, grower.network, grower.farm, MOST)).await?;
    Ok(found.into_iter().map(views::turn).collect())
}

/// Gives a turn up.
pub async fn leave(
    house: &House,
    grower: Grower,
    key: &Key,
    turn: TurnId,
) -> Result<TurnView, ServerError> {
    let act = key.act(&house.keys, grower.person, "leave line", &turn)?;
    house
        .settle(act, move |tx| turns::leave(tx, grower.network, grower.farm, turn).map(views::turn))
        .await
}
