//! Questions to givers, own need or the promise; and by which rule holds are cut.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use spareloop_domain::exchange::QuestionAct;
use spareloop_domain::exchange::cut::CutRule;
use spareloop_domain::words::{Count, LotId, QuestionId, UnitKind};
use utoipa::ToSchema;

/// `POST /questions/{question}/answer`: the giver says which yields.
#[derive(Debug, Clone, Copy, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AnswerQuestion {
    /// `keep-promise`: the holds stand. `keep-need`: as many of them are cut as are lacking for the
    /// giver's own plan, by the network's rule, and what nobody holds of the lot is offered no more.
    #[schema(value_type = String)]
    pub answer: QuestionAct,
}

/// A question to the giver, after a loss in a lot whose offer was provisional.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct QuestionView {
    /// Its id.
    #[schema(value_type = String, format = "uuid")]
    pub question: QuestionId,
    /// The lot of which some were lost.
    #[schema(value_type = String, format = "uuid")]
    pub lot: LotId,
    /// The variety.
    pub variety: String,
    /// What a unit is.
    #[schema(value_type = String)]
    pub unit: UnitKind,
    /// How many of what is held the giver may keep for its own plan.
    #[schema(value_type = u32)]
    pub about: Count,
    /// What the giver planned itself, when it was asked.
    #[schema(value_type = u32)]
    pub planned: Count,
    /// What it had in store of that variety and kind then.
    #[schema(value_type = u32)]
    pub in_store: Count,
    /// What others held of them then.
    #[schema(value_type = u32)]
    pub held: Count,
    /// `asked`, `promise-stands`, `need-stands`, `overtaken`.
    pub state: String,
    /// When it was asked.
    pub asked_at: DateTime<Utc>,
    /// By when it is answered; silence keeps the promise.
    pub answer_by: DateTime<Utc>,
}

/// By which rule holds are cut when a loss leaves too few in store.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CutRuleView {
    /// `newest-first` or `by-shares`.
    #[schema(value_type = String)]
    pub rule: CutRule,
}
