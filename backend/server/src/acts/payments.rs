//! Money that passed between two farms: noted by one, confirmed by the other.

use spareloop_api::exchange::HoldView;
use spareloop_api::payments::NotePayment;
use spareloop_domain::exchange::PaymentAct;
use spareloop_domain::words::{HoldId, PaymentId};
use spareloop_store::payments::{self, NewPayment};

use super::holds::shown;
use crate::auth::caller::Grower;
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::Key;

/// One of the two farms notes a payment.
pub async fn note(
    house: &House,
    grower: Grower,
    key: &Key,
    hold: HoldId,
    request: NotePayment,
) -> Result<HoldView, ServerError> {
    let act = key.act(&house.keys, grower.person, "note payment", &(hold, &request))?;
    let new = NewPayment { id: request.payment, amount: request.amount, on: request.on };
    let now = house.now();
    house
        .settle(act, move |tx| {
            let done = payments::note(tx, grower.farm, hold, &new, now)?;
            shown(tx, done)
        })
        .await
}

/// One of the two farms confirms it, denies it or takes it back.
pub async fn act(
    house: &House,
    grower: Grower,
    key: &Key,
    id: PaymentId,
    what: PaymentAct,
) -> Result<HoldView, ServerError> {
    let operation = match what {
        PaymentAct::ConfirmByOther => "confirm payment",
        PaymentAct::DenyByOther => "deny payment",
        PaymentAct::WithdrawByNoter => "withdraw payment",
    };
    let act = key.act(&house.keys, grower.person, operation, &id)?;
    let now = house.now();
    house
        .settle(act, move |tx| {
            let done = payments::act(tx, grower.farm, id, what, now)?;
            shown(tx, done)
        })
        .await
}
