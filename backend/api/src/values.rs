//! What a unit is fairly worth in the network, and the market that it follows from.

use serde::{Deserialize, Serialize};
use spareloop_domain::value::network::{Published, ToldValue};
use spareloop_domain::words::UnitKind;
use utoipa::ToSchema;

/// `GET /network/values`: the values of all that is offered or wanted.
///
/// Whoever has `market` can reckon `values` from it alone, to the last digit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ValuesView {
    /// Changes whenever the market does.
    pub mark: String,
    /// What is offered, wanted and known of how varieties multiply, without a farm's name.
    #[schema(value_type = Object)]
    pub market: Published,
    /// By unit kind and then by name.
    pub values: Vec<ValueLine>,
}

/// What a unit of one variety is worth, in units of the network's median variety.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ValueLine {
    /// The variety's name.
    pub variety: String,
    /// What a unit is.
    #[schema(value_type = String)]
    pub unit: UnitKind,
    /// The swap value: the middle of low and high, on average over winters that may come.
    pub value: f64,
    /// The value as a round takes it, in tenths.
    pub tenths: i64,
    /// What one unit more would add, and what it is worth to its owner.
    pub low: f64,
    /// What one unit less would take away.
    pub high: f64,
    /// 1 winter in 10 has this value or less.
    pub p10: f64,
    /// 9 winters in 10 have this value or less.
    pub p90: f64,
    /// The chance that the network runs short of it.
    pub chance_short: f64,
    /// By yield scarcity alone.
    pub rebuild: f64,
    /// What a plant gives for the next planting: emergence × sound divisions × what lasts in store.
    pub multiplication: f64,
    /// The median variety's.
    pub median: f64,
    /// Units offered and free.
    pub offered: u32,
    /// Units wanted before any other variety.
    pub wanted: u64,
    /// Units wanted in place of another variety.
    pub wanted_instead: u64,
    /// All of it in a sentence.
    pub sentence: String,
}

impl From<&ToldValue> for ValueLine {
    fn from(told: &ToldValue) -> Self {
        Self {
            variety: told.variety.clone(),
            unit: told.unit,
            value: told.value.value,
            tenths: told.tenths.0,
            low: told.value.low,
            high: told.value.high,
            p10: told.value.p10,
            p90: told.value.p90,
            chance_short: told.value.chance_short,
            rebuild: told.value.rebuild,
            multiplication: told.multiplication,
            median: told.median,
            offered: told.offered,
            wanted: told.wanted.first_choice,
            wanted_instead: told.wanted.in_place_of_another,
            sentence: told.sentence.clone(),
        }
    }
}
