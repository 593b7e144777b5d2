//! What a network tells a farm: what all the other farms saw, taken together.
//!
//! It shows nobody's lots. It is made only where at least [`super::LEAST_FARMS`] other farms have
//! records, names a variety or a packing only where as many of them hold it, and holds no farm's effect
//! and no id. What may not enter: anything of one farm.

use serde::{Deserialize, Serialize};

use crate::words::Day;

/// The form of this summary.
const VERSION: u8 = 1;

/// What the other farms of a network saw.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NetworkSummary {
    /// The form: 1.
    pub version: u8,
    /// The day it was made.
    pub made: Day,
    /// Losses in store; none while they say nothing yet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub losses: Option<LossSummary>,
    /// How much comes up; none while too little is noted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub emergence: Option<EmergenceSummary>,
    /// What clumps give; none while too little is noted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub yields: Option<YieldSummary>,
}

/// How much was seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct SeenByNetwork {
    /// Farms.
    pub farms: u32,
    /// Lots looked at.
    pub lots: u32,
    /// Looks.
    pub looks: u32,
    /// Units lost.
    pub lost: u64,
}

/// By how much lots differ: standard deviations of effects on the log of the loss rate.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SpreadSummary {
    /// Between varieties.
    pub variety: f64,
    /// Between packings.
    pub packing: f64,
    /// Between farms.
    pub farm: f64,
    /// Between lots that are alike in all of these.
    pub lot: f64,
}

/// What was seen of losses in store. Effects are on the log of the loss rate per day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LossSummary {
    /// How much was seen.
    pub seen: SeenByNetwork,
    /// By how much lots differ.
    pub spread: SpreadSummary,
    /// The log of the loss rate per day of a lot like all others (μ).
    pub typical: f64,
    /// The packings that enough farms hold.
    pub packings: Vec<PackingSummary>,
    /// The covariance of μ and the packings' effects, in that order.
    pub covariance: Vec<Vec<f64>>,
    /// The varieties that enough farms hold.
    pub varieties: Vec<VarietySummary>,
}

/// One packing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PackingSummary {
    /// Its code; empty for lots without one.
    pub packing: String,
    /// Its effect.
    pub effect: f64,
}

/// One variety.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct VarietySummary {
    /// Its folded name.
    pub variety: String,
    /// Its effect.
    pub effect: f64,
    /// The standard deviation of that.
    pub sd: f64,
    /// Its covariance with μ and the packings' effects, in that order.
    pub with: Vec<f64>,
}

/// How much comes up: Beta(alpha, beta) over varieties.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EmergenceSummary {
    /// Farms that noted it.
    pub farms: u32,
    /// The first number of the beta.
    pub alpha: f64,
    /// The second.
    pub beta: f64,
    /// Varieties that enough farms planted: of how many how many came up.
    pub varieties: Vec<VarietyCount>,
}

/// What clumps give: Gamma(shape, rate) over varieties.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct YieldSummary {
    /// Farms that noted it.
    pub farms: u32,
    /// The shape.
    pub shape: f64,
    /// The rate, in clumps.
    pub rate: f64,
    /// Varieties that enough farms divided: from how many clumps how many sound divisions.
    pub varieties: Vec<VarietyCount>,
}

/// Counts of one variety over several farms.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct VarietyCount {
    /// Its folded name.
    pub variety: String,
    /// From how many.
    pub of: u32,
    /// How many.
    pub many: u32,
}

/// Why a summary can't be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SummaryError {
    /// Of a newer form.
    #[error("what the network saw is told in a newer form ({0}) than this program reads")]
    Newer(u8),
    /// Not one, or with impossible numbers.
    #[error("what the network saw can't be read: {0}")]
    Unreadable(String),
}

#[derive(Deserialize)]
struct Form {
    version: u8,
}

impl NetworkSummary {
    /// Of what is given, in today's form.
    pub const fn new(
        made: Day,
        losses: Option<LossSummary>,
        emergence: Option<EmergenceSummary>,
        yields: Option<YieldSummary>,
    ) -> Self {
        Self { version: VERSION, made, losses, emergence, yields }
    }

    /// Reads one that was kept or sent as JSON.
    pub fn read(text: &str) -> Result<Self, SummaryError> {
        let unreadable = |error: serde_json::Error| SummaryError::Unreadable(error.to_string());
        let Form { version } = serde_json::from_str(text).map_err(unreadable)?;
        if version > VERSION {
            return Err(SummaryError::Newer(version));
        }
        let summary: Self = serde_json::from_str(text).map_err(unreadable)?;
        summary.checked()
    }

    /// As JSON, the same text for the same summary.
    pub fn text(&self) -> Result<String, SummaryError> {
        serde_json::to_string(self).map_err(|error| SummaryError::Unreadable(error.to_string()))
    }

    fn checked(self) -> Result<Self, SummaryError> {
        let odd = |what: &str| Err(SummaryError::Unreadable(format!("{what} is out of range")));
        if let Some(losses) = &self.losses {
            let SpreadSummary { variety, packing, farm, lot } = losses.spread;
            if ![variety, packing, farm, lot].iter().all(|sd| (0.0..=20.0).contains(sd)) {
                return odd("a spread");
            }
            let columns = losses.packings.len() + 1;
            let square = losses.covariance.len() == columns
                && losses.covariance.iter().all(|row| row.len() == columns);
            if !square || losses.varieties.iter().any(|one| one.with.len() != columns) {
                return odd("a covariance");
            }
            let effects = losses.packings.iter().map(|one| one.effect);
            let effects = effects.chain(losses.varieties.iter().map(|one| one.effect));
            if !effects.chain([losses.typical]).all(|one| (-1000.0..=1000.0).contains(&one)) {
                return odd("an effect");
            }
        }
        let whole = |number: f64| (1e-6..=1e12).contains(&number);
        if self.emergence.as_ref().is_some_and(|it| !whole(it.alpha) || !whole(it.beta)) {
            return odd("emergence");
        }
        if self.yields.as_ref().is_some_and(|it| !whole(it.shape) || !whole(it.rate)) {
            return odd("a yield");
        }
        Ok(self)
    }
}
