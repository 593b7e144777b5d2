//! The fit over all farms of a network, and what it tells each of them.
//!
//! By how much varieties, packings, farms and lots differ is estimated once, over all farms. What one
//! farm is told leaves its own lots out: they come in on its own side, and would count twice. What may
//! not enter: which farm is asked for by which person.

use std::collections::{BTreeMap, BTreeSet};

use super::prior::{ENOUGH, Farms, from_spread, looks, spread_of};
use super::rates::{emergence_of, yields_of};
use super::records::Records;
use super::summary::{
    LossSummary, NetworkSummary, PackingSummary, SeenByNetwork, SpreadSummary, VarietySummary,
};
use crate::fit::{Learned, LossData, LossFitError, fit, learn};
use crate::words::Day;

/// So many other farms must have records before a farm is told anything of them, and so many must hold
/// a variety or a packing before it is named: with fewer, one could work out a single one. Ours.
pub const LEAST_FARMS: u32 = 5;

/// Why there is nothing to tell yet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotYet {
    /// Too few farms.
    #[error("fewer than {LEAST_FARMS} other farms have noted anything")]
    FewFarms,
}

/// Several farms' records, with the spreads that they were fitted to have.
#[derive(Debug, Clone)]
pub struct NetworkFit {
    farms: Vec<Records>,
    spread: Option<SpreadSummary>,
}

impl NetworkFit {
    /// Fits all farms' records together; takes a while where they are many.
    pub fn of(farms: Vec<Records>) -> Result<Self, LossFitError> {
        let data = looks(farms.iter().enumerate(), Farms::Several);
        let spread = if ENOUGH.is_met_by(farms.iter()) {
            Some(fit(&data)?).filter(|fitted| fitted.degenerate.is_none())
        } else {
            None
        };
        Ok(Self { spread: spread.map(|fitted| spread_of(&fitted)), farms })
    }

    /// What is told to one of the farms, by its place in the order given: all that the others saw.
    pub fn told_to(&self, farm: usize, made: Day) -> Result<NetworkSummary, NotYet> {
        let others: Vec<(usize, &Records)> =
            self.farms.iter().enumerate().filter(|(at, _)| *at != farm).collect();
        let records: Vec<&Records> = others.iter().map(|(_, records)| *records).collect();
        let losses = self.losses(&others);
        let (emergence, yields) = (emergence_of(&records), yields_of(&records));
        if losses.is_none() && emergence.is_none() && yields.is_none() {
            return Err(NotYet::FewFarms);
        }
        Ok(NetworkSummary::new(made, losses, emergence, yields))
    }

    fn losses(&self, others: &[(usize, &Records)]) -> Option<LossSummary> {
        let spread = self.spread?;
        let looked_at: Vec<(usize, &Records)> = others
            .iter()
            .copied()
            .filter(|(_, records)| records.looked_at().next().is_some())
            .collect();
        let farms = u32::try_from(looked_at.len()).unwrap_or(u32::MAX);
        let records = || looked_at.iter().map(|(_, records)| *records);
        if farms < LEAST_FARMS || !ENOUGH.is_met_by(records()) {
            return None;
        }
        let data = looks(looked_at.iter().copied(), Farms::Several);
        let learned = learn(&data, &from_spread(&data, spread)).ok()?;
        let lots = || records().flat_map(Records::looked_at);
        let seen = SeenByNetwork {
            farms,
            lots: u32::try_from(lots().count()).unwrap_or(u32::MAX),
            looks: lots().map(|lot| lot.looks).fold(0, u32::saturating_add),
            lost: data.totals().0,
        };
        Some(told(&data, &learned, &held_by(records()), seen, spread))
    }
}

/// How many farms hold each variety and each packing, among lots that were looked at.
struct HeldBy<'a> {
    varieties: BTreeMap<&'a str, u32>,
    packings: BTreeMap<&'a str, u32>,
}

fn held_by<'a>(farms: impl Iterator<Item = &'a Records>) -> HeldBy<'a> {
    let mut held = HeldBy { varieties: BTreeMap::new(), packings: BTreeMap::new() };
    for records in farms {
        let of = |part: fn(&super::LotRecord) -> &str| -> BTreeSet<&'a str> {
            records.looked_at().map(part).collect()
        };
        for variety in of(|lot| lot.variety.as_str()) {
            *held.varieties.entry(variety).or_default() += 1;
        }
        for packing in of(|lot| lot.packing.as_str()) {
            *held.packings.entry(packing).or_default() += 1;
        }
    }
    held
}

fn told(
    data: &LossData,
    learned: &Learned,
    held: &HeldBy<'_>,
    seen: SeenByNetwork,
    spread: SpreadSummary,
) -> LossSummary {
    let enough = |by: &BTreeMap<&str, u32>, label: &str| {
        by.get(label).is_some_and(|farms| *farms >= LEAST_FARMS)
    };
    let packings: Vec<usize> = (0..data.labels(1).len())
        .filter(|at| enough(&held.packings, &data.labels(1)[*at]))
        .collect();
    // The packings' columns stand behind μ's, in the order of the data.
    let columns: Vec<usize> = std::iter::once(0).chain(packings.iter().map(|at| at + 1)).collect();
    let covariance = columns
        .iter()
        .map(|row| columns.iter().map(|column| learned.covariance[(*row, *column)]).collect());
    let varieties = data.labels(0).iter().enumerate();
    LossSummary {
        seen,
        spread,
        typical: learned.columns[0].mean,
        packings: packings
            .iter()
            .map(|at| PackingSummary {
                packing: data.labels(1)[*at].clone(),
                effect: learned.columns[at + 1].mean,
            })
            .collect(),
        covariance: covariance.collect(),
        varieties: varieties
            .filter(|(_, variety)| enough(&held.varieties, variety))
            .map(|(at, variety)| VarietySummary {
                variety: variety.clone(),
                effect: learned.levels[at].mean,
                sd: learned.levels[at].sd,
                with: columns.iter().map(|column| learned.with_columns[at][*column]).collect(),
            })
            .collect(),
    }
}
