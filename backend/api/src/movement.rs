//! Regions and what the coordinator asks for between two of them.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use spareloop_domain::attest::FactKind;
use utoipa::ToSchema;

use crate::people::FarmView;

/// `GET /movement`: where farms are, and what is asked for between regions.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct MovementView {
    /// The network's farms.
    pub farms: Vec<PlacedFarm>,
    /// The rules; each holds one way.
    pub rules: Vec<MovementRuleView>,
    /// What is said wherever stock goes from one region to another.
    pub caution: String,
}

/// Where a farm is.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct PlacedFarm {
    /// The farm.
    pub farm: FarmView,
    /// Its region, if the coordinator has noted one.
    pub region: Option<String>,
}

/// What a rule does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Passage {
    /// The lot must bear the kinds of statement named, perhaps none.
    Asks,
    /// Nothing passes through this network.
    NotHere,
}

/// A rule from one region to another.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct MovementRuleView {
    /// From where.
    pub from: String,
    /// To where.
    pub to: String,
    /// What it does.
    pub passage: Passage,
    /// Kinds of statement that the lot must bear.
    #[schema(value_type = Vec<String>)]
    pub required: BTreeSet<FactKind>,
    /// Whom to ask, where to read the rules.
    pub note: String,
    /// Since when.
    pub set_at: DateTime<Utc>,
}

/// `POST /farms/{farm}/region`: notes where a farm is.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SetRegion {
    /// Its region, 1 to 40 characters; without it, none is noted.
    #[serde(default)]
    pub region: Option<String>,
}

/// `POST /movement/rules`: sets what is asked for from one region to another.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SetMovementRule {
    /// From where.
    pub from: String,
    /// To where.
    pub to: String,
    /// What it does; without it, the rule is taken away.
    #[serde(default)]
    pub passage: Option<Passage>,
    /// Kinds of statement that the lot must bear; none where nothing passes.
    #[serde(default)]
    #[schema(value_type = Vec<String>)]
    pub required: BTreeSet<FactKind>,
    /// Whom to ask, where to read the rules.
    #[serde(default)]
    pub note: String,
}
