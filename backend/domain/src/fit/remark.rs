//! What a fit can't tell, in words.
//!
//! A spread of 0 or a group that is no group reads like a finding unless it is said what it is. What
//! may not enter: what to do about it.

use std::fmt;

use super::data::LossData;
use super::{LossFit, SMALL};

/// Something that the looks can't tell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Remark {
    /// A group has one level in all.
    OneLevel {
        /// Which.
        group: String,
    },
    /// A group has another level for every lot.
    LevelPerLot {
        /// Which.
        group: String,
    },
    /// A group's levels differ by no more than chance would have them.
    Alike {
        /// Which.
        group: String,
    },
    /// A group's levels lie so far apart that the looks set no bound to it: the likelihood climbs on
    /// and on, ever more slowly.
    Boundless {
        /// Which.
        group: String,
    },
    /// There is one lot.
    OneLot,
    /// Lots of the same groups differ by no more than chance would have them.
    LotsAlike,
    /// Lots lie so far apart that the looks set no bound to it.
    LotsBoundless,
}

/// A standard deviation of log hazards above this is no store's: 400 times the rate, or a 400th.
const LARGE: f64 = 6.0;

impl fmt::Display for Remark {
    fn fmt(&self, into: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::OneLevel { group } => write!(
                into,
                "every lot has the same {group}, so how far one {group} differs from another can't be told"
            ),
            Self::LevelPerLot { group } => write!(
                into,
                "no two lots share a {group}, so what is the {group}'s and what the lot's own can't be told apart"
            ),
            Self::Alike { group } => write!(
                into,
                "lots of one {group} did not differ from those of another by more than chance"
            ),
            Self::Boundless { group } => write!(
                into,
                "losses of one {group} and another lie so far apart that these looks set no bound to it"
            ),
            Self::OneLot => {
                write!(into, "there is one lot, so how far lots differ can't be told")
            }
            Self::LotsAlike => {
                write!(into, "beyond their groups, lots did not differ by more than chance")
            }
            Self::LotsBoundless => {
                write!(into, "lots lie so far apart that these looks set no bound to it")
            }
        }
    }
}

/// What is to be said beside the numbers of a fit.
pub fn remarks(data: &LossData, fitted: &LossFit) -> Vec<Remark> {
    if fitted.degenerate.is_some() {
        return Vec::new();
    }
    let lots = data.lots().len();
    let of_group = |(at, group): (usize, &str)| {
        let group = group.to_owned();
        match data.labels(at).len() {
            _ if lots == 1 => None,
            1 => Some(Remark::OneLevel { group }),
            levels if levels == lots => Some(Remark::LevelPerLot { group }),
            _ if fitted.group_sd[at] < SMALL => Some(Remark::Alike { group }),
            _ if fitted.group_sd[at] > LARGE => Some(Remark::Boundless { group }),
            _ => None,
        }
    };
    let of_lots = match lots {
        1 => Some(Remark::OneLot),
        _ if fitted.lot_sd < SMALL => Some(Remark::LotsAlike),
        _ if fitted.lot_sd > LARGE => Some(Remark::LotsBoundless),
        _ => None,
    };
    data.groups().enumerate().filter_map(of_group).chain(of_lots).collect()
}
