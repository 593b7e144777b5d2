//! A network's market as it is told to its farms, and the values that anybody reckons from it.
//!
//! ```text
//! records   what a stock book says of how its varieties multiply
//! multiply  few records drawn towards the network's many: what a plant gives
//! publish   offers, wants and records of all farms, made into one document without a farm's name
//! told      values, likely ranges and reasons from that document: the same on every machine
//! explain   every step of one value with its figures
//! ```
//!
//! The server publishes, the server and every client reckon; what the winters may bring is drawn
//! once, by the server, and is part of the document. Unit kinds are never added together: each has
//! a market of its own, and shares what a plant gives. What may not enter: farms' names and ids.

mod explain;
mod multiply;
mod publish;
mod records;
mod told;

pub use explain::{Step, explain};
pub use multiply::{Multiplying, Prior, Priors, Rate};
pub use publish::{
    DRAWS, LAPSE, LEAST_FARMS, OfferedStock, OnBoard, WantedUnits, publish, thinned,
};
pub use records::{VarietyRecord, VarietyRecords};
pub use told::{ToldValue, Unlisted, unlisted, values_of, worth_of_choice};

use serde::{Deserialize, Serialize};

use super::{MarketError, MultiplicationError, SharesError, WorthError};
use crate::words::{Day, UnitKind};

/// The form of the document; a reader refuses one that is newer than itself.
pub const FORM: u32 = 1;

/// A network's market, without anybody's name.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Published {
    /// Its form.
    pub form: u32,
    /// The day it was made.
    pub made: Day,
    /// The seed of what may lapse.
    pub seed: u64,
    /// The chance that a want lapses.
    pub lapse: f64,
    /// What an unasked unit is worth to its owner, as a share of its rebuild value.
    pub reserve_share: f64,
    /// What a unit of the first choice is worth to a want, likewise.
    pub want_share: f64,
    /// What stands behind few records.
    pub priors: Priors,
    /// Every variety that is offered or wanted, by its folded name.
    pub varieties: Vec<PublishedVariety>,
    /// What is offered, by variety and unit kind.
    pub offered: Vec<PublishedOffer>,
    /// What is wanted.
    pub wanted: Vec<PublishedWant>,
}

/// A variety on the board.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PublishedVariety {
    /// Its name, as one of those who have or want it spells it.
    pub name: String,
    /// What a plant of it gives.
    pub multiplying: Multiplying,
}

/// All that is offered of a variety in one unit kind.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PublishedOffer {
    /// Its place among the varieties.
    pub variety: usize,
    /// What a unit is.
    pub unit: UnitKind,
    /// Units offered and free today.
    pub count: u32,
    /// Units of those that are left at planting, winter by winter; as many winters for every offer.
    pub left: Vec<u32>,
}

/// One want.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PublishedWant {
    /// What a unit is.
    pub unit: UnitKind,
    /// Units still open.
    pub count: u32,
    /// What would do, the first choice first: places among the varieties.
    pub accepts: Vec<usize>,
}

/// A document that can't be reckoned with.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PublishedError {
    /// No JSON of this kind.
    #[error("what the network said of its market can't be read: {0}")]
    Unreadable(String),
    /// Of a later version of the program.
    #[error(
        "what the network said of its market has form {0}, and this program knows up to {FORM}"
    )]
    Newer(u32),
    /// A place that isn't there, or winters that don't agree.
    #[error("what the network said of its market doesn't hold together")]
    Inconsistent,
    /// A share out of range.
    #[error(transparent)]
    Shares(#[from] SharesError),
    /// A multiplication out of range.
    #[error(transparent)]
    Multiplication(#[from] MultiplicationError),
    /// A worth out of range.
    #[error(transparent)]
    Worth(#[from] WorthError),
    /// A market that can't be.
    #[error(transparent)]
    Market(#[from] MarketError),
}

/// Only what every form has.
#[derive(Deserialize)]
struct Form {
    form: u32,
}

impl Published {
    /// Reads one that was kept or sent as JSON, and checks that it can be reckoned with.
    pub fn read(text: &str) -> Result<Self, PublishedError> {
        let unreadable = |error: serde_json::Error| PublishedError::Unreadable(error.to_string());
        let Form { form } = serde_json::from_str(text).map_err(unreadable)?;
        if form > FORM {
            return Err(PublishedError::Newer(form));
        }
        let read: Self = serde_json::from_str(text).map_err(unreadable)?;
        if read.holds_together() { Ok(read) } else { Err(PublishedError::Inconsistent) }
    }

    /// As JSON; the same text for the same market.
    pub fn text(&self) -> Result<String, PublishedError> {
        serde_json::to_string(self).map_err(|error| PublishedError::Unreadable(error.to_string()))
    }

    /// Winters that were drawn.
    pub fn winters(&self) -> usize {
        self.offered.first().map_or(DRAWS, |offer| offer.left.len())
    }

    fn holds_together(&self) -> bool {
        let winters = self.winters();
        let known = |variety: &usize| *variety < self.varieties.len();
        winters > 0
            && (0.0..=1.0).contains(&self.lapse)
            && self.offered.iter().all(|it| known(&it.variety) && it.left.len() == winters)
            && self.wanted.iter().all(|it| it.accepts.iter().all(known))
    }
}

#[cfg(test)]
mod tests;
