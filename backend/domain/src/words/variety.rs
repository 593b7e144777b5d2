//! What a farm knows of a variety.

use serde::{Deserialize, Serialize};

use super::stock::{UnknownWord, plain, word};
use super::{Day, VarietyId, VarietyName};
use std::fmt;
use std::str::FromStr;

word! {
    /// Whether the grower is sure that the stock is what its name says.
    Identity {
        /// Sure.
        Sure = "sure", "sure";
        /// Unsure; shown wherever the name is.
        Unsure = "unsure", "identity unsure";
    }
}

word! {
    /// What the farm means to do with a variety.
    Intention {
        /// Grow more of it.
        Increase = "increase", "increase";
        /// Keep what there is.
        Keep = "keep", "keep";
        /// Let it go.
        Drop = "drop", "drop";
    }
}

/// Whether a variety is protected by breeders' rights or a plant patent, as far as the farm knows.
///
/// The law differs by country; this is the farm's own matter and no advice.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, Default)]
#[serde(tag = "status", rename_all = "kebab-case")]
pub enum Protection {
    /// Nobody's to forbid.
    Free,
    /// Somebody holds a right in it.
    Protected {
        /// Who holds it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        holder: Option<String>,
        /// Where it holds.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        region: Option<String>,
        /// Until when.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        until: Option<Day>,
        /// The number of the permission that the farm was given.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        permission: Option<String>,
    },
    /// Not looked into yet.
    #[default]
    Unknown,
}

impl Protection {
    /// Whether stock may be offered, sold or given away on `day`: not while a right holds and no
    /// permission is recorded.
    pub fn allows_passing_on(&self, day: Day) -> bool {
        match self {
            Self::Free | Self::Unknown => true,
            Self::Protected { permission, until, .. } => {
                permission.as_ref().is_some_and(|number| !number.trim().is_empty())
                    || until.is_some_and(|last| last < day)
            }
        }
    }
}

/// One variety as the fold of a farm's ledger knows it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct VarietyCard {
    /// The farm's id for it.
    pub id: VarietyId,
    /// The name, spelling kept.
    pub name: VarietyName,
    /// Other names it goes by.
    pub aliases: Vec<VarietyName>,
    /// Form code of the trade, as `FD` for formal decorative.
    pub form: Option<String>,
    /// Size class of the trade, as `BB`.
    pub size: Option<String>,
    /// Colour class of the trade, as `DP`.
    pub colour: Option<String>,
    /// Whether the name is sure.
    pub identity: Identity,
    /// Whether it is protected.
    pub protection: Protection,
    /// What the farm means to do with it.
    pub intention: Option<Intention>,
    /// Free notes, newest last.
    pub notes: Vec<String>,
}
