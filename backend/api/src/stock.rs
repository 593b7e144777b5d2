//! A farm's stock as the server's fold of the synced ledger has it.

use serde::{Deserialize, Serialize};
use spareloop_domain::belief::NetworkSummary;
use spareloop_domain::words::{Count, Day, LotId, UnitKind};
use utoipa::ToSchema;

/// `GET /stock`: by variety and unit kind.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct StockView {
    /// One line a variety and unit kind.
    pub lines: Vec<StockLine>,
    /// Where facts disagree, in words.
    pub problems: Vec<String>,
}

/// One variety and unit kind.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct StockLine {
    /// The variety's name.
    pub variety: String,
    /// What a unit is.
    #[schema(value_type = String)]
    pub unit: UnitKind,
    /// In store by the book.
    #[schema(value_type = u32)]
    pub in_store: Count,
    /// Spare; absent while there is no plan.
    #[schema(value_type = Option<u32>)]
    pub spare: Option<Count>,
    /// Short; absent while there is no plan.
    #[schema(value_type = Option<u32>)]
    pub short: Option<Count>,
    /// What a person needs to know, in a sentence.
    pub sentence: String,
    /// Its lots.
    pub lots: Vec<LotLine>,
}

/// One lot.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct LotLine {
    /// Its id.
    #[schema(value_type = String, format = "uuid")]
    pub lot: LotId,
    /// Its five-character code.
    pub code: String,
    /// In store by the book.
    #[schema(value_type = u32)]
    pub in_store: Count,
    /// Promised by open offers and live holds.
    #[schema(value_type = u32)]
    pub promised: Count,
    /// Last looked at.
    #[schema(value_type = Option<String>, format = "date")]
    pub last_look: Option<Day>,
    /// Where it lies.
    pub place: Option<String>,
}

/// `GET /network/summary`: what all the other farms of the network saw, taken together, for the farm
/// that asks. It holds no farm's lots and no farm's effect, and names a variety or a packing only
/// where at least five other farms hold it.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct NetworkSummaryView {
    /// Changes whenever the summary does.
    pub mark: Option<String>,
    /// Losses in store (`typical`, `spread`, `packings`, `varieties`, `covariance`: a joint normal
    /// distribution of effects on the log of the loss rate per day), `emergence` (a beta distribution
    /// over varieties) and `yields` (a gamma distribution). Absent while there is nothing to tell.
    #[schema(value_type = Option<Object>)]
    pub summary: Option<NetworkSummary>,
}
