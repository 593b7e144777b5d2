//! Claims on what arrived.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use spareloop_domain::exchange::ClaimKind;
use spareloop_domain::words::{ClaimId, Count, HandOverId, HoldId};
use utoipa::ToSchema;

use crate::people::FarmView;

/// `POST /hand-overs/{hand_over}/claims`: the taker says what is wrong with what arrived.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MakeClaim {
    /// The claim's id, made by the client before it is sent.
    #[schema(value_type = String, format = "uuid")]
    pub claim: ClaimId,
    /// `condition` (within 14 days of the receipt), `no-eye` (5 weeks) or `not-true` (until first bloom,
    /// taken for 30 September).
    #[schema(value_type = String)]
    pub kind: ClaimKind,
    /// Of how many.
    #[schema(value_type = u32)]
    pub count: Count,
    /// What is wrong, in words.
    #[serde(default)]
    pub words: String,
}

/// `POST /claims/{claim}/decide`: the coordinator decides a disputed claim, on record.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DecideClaim {
    /// How many of what was claimed count, from 0.
    #[schema(value_type = u32)]
    pub count: Count,
    /// Why, in words; both farms read it.
    #[serde(default)]
    pub why: String,
}

/// A claim as its two farms and the coordinator see it.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct ClaimView {
    /// Its id.
    #[schema(value_type = String, format = "uuid")]
    pub claim: ClaimId,
    /// On which hand-over.
    #[schema(value_type = String, format = "uuid")]
    pub hand_over: HandOverId,
    /// The hold that was handed over.
    #[schema(value_type = String, format = "uuid")]
    pub hold: HoldId,
    /// Who gave.
    pub giver: FarmView,
    /// Who took and claims.
    pub taker: FarmView,
    /// The variety.
    pub variety: String,
    /// What is claimed.
    #[schema(value_type = String)]
    pub kind: ClaimKind,
    /// Of how many.
    #[schema(value_type = u32)]
    pub count: Count,
    /// In the taker's words.
    pub words: String,
    /// `open`, `granted`, `disputed`, `decided`, `withdrawn`.
    pub state: String,
    /// When it was made.
    pub made_at: DateTime<Utc>,
    /// By when the giver answers; silence is a dispute.
    pub answer_by: DateTime<Utc>,
    /// What the giver wrote.
    pub answer: String,
    /// How many count, once that is settled.
    #[schema(value_type = Option<u32>)]
    pub settled: Option<Count>,
    /// What the coordinator wrote.
    pub decision: String,
}
