//! What is believed of a farm's lots and varieties, and on what ground: its own looks, and what the
//! network saw.
//!
//! ```text
//! records  what a book says of losses, emergence and yields, without ids
//! summary  what a network tells a farm of what all the others saw
//! network  the fit over all farms, and the summary that leaves one of them out
//! prior    what is believed before the farm's own looks
//! rates    emergence and yields: few records drawn towards many
//! beliefs  all of it for one book
//! steps    how a lot's rate comes about, figure by figure
//! ```
//!
//! There is one blend: what is believed before the farm's looks is one joint normal distribution
//! ([`crate::fit::Given`]), and the looks are taken into it by [`crate::fit::learn`]. Before the looks
//! stands, in this order, what the network saw; else what the farm's own many records say of how lots
//! differ; else the first-season guess. A network's summary for a farm leaves that farm out, so that
//! nothing counts twice. What may not enter: plans, offers, calendars, sentences.

mod beliefs;
mod network;
mod prior;
mod rates;
mod records;
mod steps;
mod summary;

pub use beliefs::{Beliefs, LotBelief};
pub use network::{LEAST_FARMS, NetworkFit, NotYet};
pub use prior::{ENOUGH, Enough, FIRST_SEASON_SPLIT, Split};
pub use rates::{EmergenceBelief, YieldBelief};
pub use records::{LotRecord, Records};
pub(crate) use records::{line, variety_key};
pub use steps::{Step, StepOf};
pub use summary::{
    EmergenceSummary, LossSummary, NetworkSummary, PackingSummary, SeenByNetwork, SpreadSummary,
    SummaryError, VarietyCount, VarietySummary, YieldSummary,
};

/// What stands behind a farm's own looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ground {
    /// The first-season guess: nothing is known yet of how lots differ.
    FirstSeason,
    /// The farm's own records, which are many enough.
    OwnRecords,
    /// What other farms of the network saw.
    Network {
        /// How many farms.
        farms: u32,
        /// Of how many lots.
        lots: u32,
    },
}

/// What a belief about lots rests on, as people are told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Grounds {
    /// Looks at these lots that told something.
    pub looks: u32,
    /// Other lots of the farm that were looked at.
    pub other_lots: u32,
    /// Looks at those.
    pub other_looks: u32,
    /// What stands behind.
    pub ground: Ground,
}
