//! Emergence and yields: few records of one variety drawn towards the many of all.
//!
//! The prior is the one under which all varieties' records together are most likely
//! ([`crate::shrink`]). Where they differ by no more than chance, one rate serves for all, as sure as
//! all records together and no surer.

use std::collections::{BTreeMap, BTreeSet};

use super::Ground;
use super::network::LEAST_FARMS;
use super::records::Records;
use super::summary::{EmergenceSummary, VarietyCount, YieldSummary};
use crate::forecast::EmergenceRate;
use crate::shrink::{ShareRecord, Spread, YieldRecord, share_prior, yield_prior};

/// What is believed of the share of a variety that comes up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EmergenceBelief {
    /// Beta(alpha, beta).
    pub rate: EmergenceRate,
    /// What stands behind the farm's own record; lots don't count here.
    pub ground: Ground,
}

/// What is believed of the sound divisions that a clump of a variety gives: Gamma(shape, rate).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct YieldBelief {
    /// The shape.
    pub shape: f64,
    /// The rate, in clumps.
    pub rate: f64,
    /// What stands behind the farm's own record; lots don't count here.
    pub ground: Ground,
}

impl YieldBelief {
    /// Divisions expected from a clump.
    pub fn mean(&self) -> f64 {
        self.shape / self.rate
    }
}

/// Before any record: 4 divisions from a clump, as sure as after 2 clumps. Ours, no source.
const FIRST_YIELD: (f64, f64) = (8.0, 2.0);
/// Varieties with records that make a farm's own prior, and units or clumps in all. Ours, no source.
const ENOUGH_VARIETIES: usize = 5;
const ENOUGH_UNITS: u64 = 100;

/// The two numbers of a prior, and whether a variety's own record is in it already.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Drawn {
    pub(super) first: f64,
    pub(super) second: f64,
    pub(super) varieties: Spread,
}

/// The prior of emergence over varieties, if their records make one.
pub(super) fn emergence_prior(records: &[ShareRecord]) -> Option<Drawn> {
    let sums: (u64, u64) = records.iter().fold((0, 0), |sums, record| {
        (
            sums.0 + u64::from(record.many),
            sums.1 + u64::from(record.of - record.many.min(record.of)),
        )
    });
    let telling = records.iter().filter(|record| record.of > 0).count();
    if telling < ENOUGH_VARIETIES || sums.0 + sums.1 < ENOUGH_UNITS {
        return None;
    }
    let prior = share_prior(records).ok()?;
    let first = EmergenceRate::default();
    Some(match prior.spread {
        Spread::Differ => {
            Drawn { first: prior.alpha, second: prior.beta, varieties: Spread::Differ }
        }
        Spread::Alike => Drawn {
            first: first.alpha() + sums.0 as f64,
            second: first.beta() + sums.1 as f64,
            varieties: Spread::Alike,
        },
    })
}

/// The prior of yields over varieties, if their records make one.
pub(super) fn yields_prior(records: &[YieldRecord]) -> Option<Drawn> {
    let sums = records.iter().fold((0, 0), |sums: (u64, u64), record| {
        (sums.0 + u64::from(record.came), sums.1 + u64::from(record.from))
    });
    let telling = records.iter().filter(|record| record.from > 0).count();
    if telling < ENOUGH_VARIETIES || sums.1 < ENOUGH_UNITS {
        return None;
    }
    let prior = yield_prior(records).ok()?;
    Some(match prior.spread {
        Spread::Differ => {
            Drawn { first: prior.shape, second: prior.rate, varieties: Spread::Differ }
        }
        Spread::Alike => Drawn {
            first: FIRST_YIELD.0 + sums.0 as f64,
            second: FIRST_YIELD.1 + sums.1 as f64,
            varieties: Spread::Alike,
        },
    })
}

/// What one farm believes of emergence, by variety.
#[derive(Debug, Clone)]
pub(super) struct Rates {
    drawn: Drawn,
    ground: Ground,
    others: BTreeMap<String, (f64, f64)>,
    own: BTreeMap<String, (f64, f64)>,
}

impl Rates {
    /// Emergence: of the network's summary, the farm's records, or the first guess.
    pub(super) fn of_emergence(records: &Records, network: Option<&EmergenceSummary>) -> Self {
        let first = EmergenceRate::default();
        let own = records.emergence.iter().map(|(variety, record)| {
            let many = record.many.min(record.of);
            (variety.clone(), (f64::from(many), f64::from(record.of - many)))
        });
        let all: Vec<ShareRecord> = records.emergence.values().copied().collect();
        let told = network.map(|it| Told {
            drawn: Drawn { first: it.alpha, second: it.beta, varieties: Spread::Differ },
            farms: it.farms,
            varieties: &it.varieties,
            second: |count| count.of - count.many.min(count.of),
        });
        Self::new(own.collect(), told, emergence_prior(&all), (first.alpha(), first.beta()))
    }

    /// Yields, likewise.
    pub(super) fn of_yields(records: &Records, network: Option<&YieldSummary>) -> Self {
        let own = records.yields.iter().map(|(variety, record)| {
            (variety.clone(), (f64::from(record.came), f64::from(record.from)))
        });
        let all: Vec<YieldRecord> = records.yields.values().copied().collect();
        let told = network.map(|it| Told {
            drawn: Drawn { first: it.shape, second: it.rate, varieties: Spread::Differ },
            farms: it.farms,
            varieties: &it.varieties,
            second: |count| count.of,
        });
        Self::new(own.collect(), told, yields_prior(&all), FIRST_YIELD)
    }

    fn new(
        own: BTreeMap<String, (f64, f64)>,
        told: Option<Told<'_>>,
        drawn: Option<Drawn>,
        (first, second): (f64, f64),
    ) -> Self {
        if let Some(told) = told {
            let others = told.varieties.iter().map(|count| {
                let sums = (f64::from(count.many), f64::from((told.second)(count)));
                (count.variety.clone(), sums)
            });
            let ground = Ground::Network { farms: told.farms, lots: 0 };
            return Self { drawn: told.drawn, ground, others: others.collect(), own };
        }
        let (drawn, ground) = match drawn {
            Some(drawn) => (drawn, Ground::OwnRecords),
            None => (Drawn { first, second, varieties: Spread::Differ }, Ground::FirstSeason),
        };
        // Where all varieties are alike, every record is in the prior.
        let own = if drawn.varieties == Spread::Alike { BTreeMap::new() } else { own };
        Self { drawn, ground, others: BTreeMap::new(), own }
    }

    fn sums(&self, variety: &str) -> (f64, f64) {
        let of =
            |sums: &BTreeMap<String, (f64, f64)>| sums.get(variety).copied().unwrap_or_default();
        let (others, own) = (of(&self.others), of(&self.own));
        (self.drawn.first + others.0 + own.0, self.drawn.second + others.1 + own.1)
    }

    /// Of one variety.
    pub(super) fn emergence(&self, variety: &str) -> EmergenceBelief {
        let (alpha, beta) = self.sums(variety);
        // Sums of counts and of a prior that was checked are in range.
        let rate = EmergenceRate::new(alpha, beta).unwrap_or_default();
        EmergenceBelief { rate, ground: self.ground }
    }

    /// Of one variety.
    pub(super) fn yields(&self, variety: &str) -> YieldBelief {
        let (shape, rate) = self.sums(variety);
        YieldBelief { shape, rate, ground: self.ground }
    }
}

struct Told<'a> {
    drawn: Drawn,
    farms: u32,
    varieties: &'a [VarietyCount],
    /// What the second number of the prior grows by.
    second: fn(&VarietyCount) -> u32,
}

/// Sums of several farms by variety, and how many farms each is of.
fn by_variety<'a>(
    farms: &[&'a Records],
    of: impl Fn(&'a Records) -> Vec<(&'a String, u32, u32)>,
) -> (BTreeMap<&'a str, (u32, u32, u32)>, u32) {
    let mut sums: BTreeMap<&str, (u32, u32, u32)> = BTreeMap::new();
    let mut telling = BTreeSet::new();
    for (farm, records) in farms.iter().enumerate() {
        for (variety, many, from) in of(records).into_iter().filter(|(_, _, from)| *from > 0) {
            let sum = sums.entry(variety).or_default();
            *sum = (sum.0.saturating_add(many), sum.1.saturating_add(from), sum.2 + 1);
            telling.insert(farm);
        }
    }
    (sums, u32::try_from(telling.len()).unwrap_or(u32::MAX))
}

fn counts(sums: &BTreeMap<&str, (u32, u32, u32)>, varieties: Spread) -> Vec<VarietyCount> {
    let named = sums
        .iter()
        .filter(|(_, (_, _, farms))| varieties == Spread::Differ && *farms >= LEAST_FARMS);
    named
        .map(|(variety, (many, of, _))| VarietyCount {
            variety: (*variety).to_owned(),
            of: *of,
            many: *many,
        })
        .collect()
}

/// What several farms say of emergence.
pub(super) fn emergence_of(farms: &[&Records]) -> Option<EmergenceSummary> {
    let of = |it| -> Vec<(&String, u32, u32)> {
        let records: &Records = it;
        records.emergence.iter().map(|(key, one)| (key, one.many.min(one.of), one.of)).collect()
    };
    let (sums, farms) = by_variety(farms, of);
    let records: Vec<ShareRecord> =
        sums.values().map(|(many, of, _)| ShareRecord { many: *many, of: *of }).collect();
    let drawn = emergence_prior(&records).filter(|_| farms >= LEAST_FARMS)?;
    let varieties = counts(&sums, drawn.varieties);
    Some(EmergenceSummary { farms, alpha: drawn.first, beta: drawn.second, varieties })
}

/// What several farms say of yields.
pub(super) fn yields_of(farms: &[&Records]) -> Option<YieldSummary> {
    let of = |it| -> Vec<(&String, u32, u32)> {
        let records: &Records = it;
        records.yields.iter().map(|(key, one)| (key, one.came, one.from)).collect()
    };
    let (sums, farms) = by_variety(farms, of);
    let records: Vec<YieldRecord> =
        sums.values().map(|(came, from, _)| YieldRecord { came: *came, from: *from }).collect();
    let drawn = yields_prior(&records).filter(|_| farms >= LEAST_FARMS)?;
    let varieties = counts(&sums, drawn.varieties);
    Some(YieldSummary { farms, shape: drawn.first, rate: drawn.second, varieties })
}
