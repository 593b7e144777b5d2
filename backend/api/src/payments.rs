//! Money that passed between two farms outside of the network: recorded, never handled.

use serde::{Deserialize, Serialize};
use spareloop_domain::exchange::Money;
use spareloop_domain::words::{Day, FarmId, PaymentId};
use utoipa::ToSchema;

/// `POST /holds/{hold}/payments`: one of the two farms notes that money passed.
#[derive(Debug, Clone, Copy, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NotePayment {
    /// The payment's id, made by the client before it is sent.
    #[schema(value_type = String, format = "uuid")]
    pub payment: PaymentId,
    /// How much, with its currency by ISO 4217: `15.00 EUR`.
    #[schema(value_type = String)]
    pub amount: Money,
    /// The day it was paid.
    #[schema(value_type = String, format = "date")]
    pub on: Day,
}

/// A payment as its two farms see it.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct PaymentView {
    /// Its id.
    #[schema(value_type = String, format = "uuid")]
    pub payment: PaymentId,
    /// Which of the two farms noted it.
    #[schema(value_type = String, format = "uuid")]
    pub noted_by: FarmId,
    /// How much.
    #[schema(value_type = String)]
    pub amount: Money,
    /// The day it was paid.
    #[schema(value_type = String, format = "date")]
    pub on: Day,
    /// `noted`, `confirmed`, `denied`, `withdrawn`. Only what is confirmed is on record.
    pub state: String,
}
