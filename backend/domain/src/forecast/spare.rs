//! What of a variety can be given away, and what is lacking.
//!
//! Spare is the largest number k such that, with k units taken out now, the chance that enough
//! plants come up is at least the service level, less what is kept back; short is the smallest
//! number of units more, at planting, that reaches it. Lots are independent once what they share is
//! known; one emergence rate holds for the variety. What may not enter: offers and holds; whoever
//! asks takes promised stock out of the lots first.

use super::emergence::EnoughComeUp;
use super::hazard::{self, SeenGroup};
use super::together::{Together, count};
use super::{EmergenceRate, ForecastError, LotInStore, PlanTerms, ServiceLevel, affordable};
use crate::chance::{Distribution, Tail};

/// All that spare and short depend on.
#[derive(Debug, Clone, PartialEq)]
pub struct SpareQuestion {
    /// The lots, promised stock already out; the last is taken from first.
    pub lots: Vec<LotInStore>,
    /// The sd of what all lots' log rates have in common, from 0 to 20.
    pub shared_sd: f64,
    /// What is believed of emergence.
    pub emergence: EmergenceRate,
    /// What the plan asks for.
    pub terms: PlanTerms,
}

/// Units that are lacking at planting.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Short {
    /// So many; 0 if the plan is met.
    Units(u32),
    /// Above 1,000,000.
    TooMany,
}

/// Beyond this many units, a short is not reckoned.
const MOST_SHORT: usize = 1_000_000;

/// The answer. Plants and chance are before anything is taken out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spare {
    /// Plants expected to come up.
    pub expected_plants: f64,
    /// The chance that enough come up.
    pub chance_met: f64,
    /// Units that can go.
    pub spare: u32,
    /// Units that are lacking.
    pub short: Short,
}

/// Works out what is spare and what is short.
///
/// ```
/// use spareloop_domain::forecast::{
///     EmergenceRate, FIRST_SEASON, LotInStore, PlanTerms, SeenGroup, SpareQuestion, spare,
/// };
/// let lot = LotInStore { groups: vec![SeenGroup { count: 100, days: 120 }], hazard: FIRST_SEASON };
/// let answer = spare(&SpareQuestion {
///     lots: vec![lot],
///     shared_sd: 0.0,
///     emergence: EmergenceRate::default(),
///     terms: PlanTerms::wanting(40),
/// })?;
/// assert!(answer.spare > 0 && answer.chance_met > 0.9);
/// # Ok::<(), spareloop_domain::forecast::ForecastError>(())
/// ```
pub fn spare(question: &SpareQuestion) -> Result<Spare, ForecastError> {
    let store = Together::new(&question.lots, question.shared_sd);
    let PlanTerms { plants_wanted, service_level, keep_back } = question.terms;
    let total = store.total();
    let expected_plants = store.expected() * question.emergence.mean();
    let kept_back =
        |most: usize| u32::try_from((most as u64).saturating_sub(keep_back)).unwrap_or(u32::MAX);
    if plants_wanted == 0 {
        let spare = kept_back(total);
        return Ok(Spare { expected_plants, chance_met: 1.0, spare, short: Short::Units(0) });
    }
    let wanted = usize::try_from(plants_wanted).unwrap_or(usize::MAX);
    if wanted > total + MOST_SHORT {
        return Ok(Spare { expected_plants, chance_met: 0.0, spare: 0, short: Short::TooMany });
    }
    affordable(store.work() + work_of_halving(&store))?;
    let mut enough = EnoughComeUp::new(question.emergence, wanted);
    enough.extend_to(total);
    let kept = store.keep_lot_by_lot(&enough);
    if let Some(lots) = kept.chances.iter().position(|chance| service_level.met_by(*chance)) {
        let need = store.units_needed(lots, &enough, service_level);
        let (chance_met, spare) = (kept.chance_met(), kept_back(total - need));
        return Ok(Spare { expected_plants, chance_met, spare, short: Short::Units(0) });
    }
    let short = units_lacking(&kept.survivors, &mut enough, total, service_level);
    Ok(Spare { expected_plants, chance_met: kept.chance_met(), spare: 0, short })
}

/// What is met when only the first lots are kept: none, one, two, ... all.
struct Kept {
    chances: Vec<f64>,
    /// Survivors of all lots.
    survivors: Distribution,
}

impl Kept {
    fn chance_met(&self) -> f64 {
        self.chances.last().copied().unwrap_or(0.0)
    }
}

/// The first `units` of the groups.
fn first_of(groups: &[SeenGroup], units: usize) -> Vec<SeenGroup> {
    let mut left = u32::try_from(units).unwrap_or(u32::MAX);
    let take = |group: &SeenGroup| {
        let count = group.count.min(left);
        left -= count;
        SeenGroup { count, ..*group }
    };
    groups.iter().map(take).collect()
}

/// The mean of `value` over the survivors.
fn average(survivors: &Distribution, value: impl Fn(usize) -> f64) -> f64 {
    survivors.iter().map(|(k, chance)| chance * value(k)).sum()
}

/// The smallest of 1, ... `most` at which `reached` is true, which `most` is and 0 is not.
fn smallest(most: usize, reached: impl Fn(usize) -> bool) -> usize {
    let (mut too_few, mut enough) = (0, most);
    while enough - too_few > 1 {
        let middle = usize::midpoint(too_few, enough);
        if reached(middle) {
            enough = middle;
        } else {
            too_few = middle;
        }
    }
    enough
}

/// Multiplications, within a small factor, of the halving within the costliest lot.
fn work_of_halving(store: &Together) -> f64 {
    let (mut most, mut before) = (0.0, 1.0);
    for lot in &store.lots {
        let units = f64::from(count(&lot.groups));
        let alone = hazard::work(&lot.groups, lot.hazard, Tail::Cut);
        most = f64::max(most, alone * units.log2().max(1.0) + before * units);
        before += units;
    }
    most * store.shared_nodes()
}

impl Together {
    fn keep_lot_by_lot(&self, enough: &EnoughComeUp) -> Kept {
        let mut chances = vec![0.0; self.lots.len() + 1];
        let mut all = vec![0.0; self.total() + 1];
        let lots: Vec<_> = self.lots.iter().map(|lot| self.survivors(lot)).collect();
        for (z, weight) in self.shared_grid().nodes {
            let mut sum = Distribution::certain(0);
            chances[0] += weight * average(&sum, |k| enough.chance(k));
            for (lot, chance) in lots.iter().zip(&mut chances[1..]) {
                sum = sum.convolve(&lot.by(self.shared_sd * z), Tail::Cut);
                *chance += weight * average(&sum, |k| enough.chance(k));
            }
            sum.add_to(&mut all, weight);
        }
        Kept { chances, survivors: Distribution::from_chances(all) }
    }

    /// The fewest units to keep, given that the first `lots` lots are enough and one less is not.
    fn units_needed(&self, lots: usize, enough: &EnoughComeUp, level: ServiceLevel) -> usize {
        let Some((last, before)) = self.lots[..lots].split_last() else {
            return 0;
        };
        // Alone, the lot shares with nobody; see `simplified`.
        let store =
            Self { lots: [before, std::slice::from_ref(last)].concat(), shared_sd: self.shared_sd }
                .simplified();
        let Some((last, before)) = store.lots.split_last() else {
            return 0;
        };
        let values = store.values_of_last(before, last, enough);
        let most = count(&last.groups) as usize;
        let before: usize = before.iter().map(|lot| count(&lot.groups) as usize).sum();
        let reached = |units: usize| {
            let groups = first_of(&last.groups, units);
            let kept = LotInStore { groups, hazard: last.hazard };
            let kept = store.survivors(&kept);
            let chance = values
                .iter()
                .map(|(shift, weight, value)| weight * average(&kept.by(*shift), |k| value[k]))
                .sum();
            level.met_by(chance)
        };
        before + smallest(most, reached)
    }

    /// For each shared node: its shift, its weight, and the chance that enough come up by the
    /// number of survivors of the last lot, averaged over the lots before it.
    fn values_of_last(
        &self,
        before: &[LotInStore],
        last: &LotInStore,
        enough: &EnoughComeUp,
    ) -> Vec<(f64, f64, Vec<f64>)> {
        let most = count(&last.groups) as usize;
        let before: Vec<_> = before.iter().map(|lot| self.survivors(lot)).collect();
        let of_node = |(z, weight): (f64, f64)| {
            let shift = self.shared_sd * z;
            let others = before
                .iter()
                .fold(Distribution::certain(0), |sum, lot| sum.convolve(&lot.by(shift), Tail::Cut));
            let value = |k| average(&others, |other| enough.chance(other + k));
            (shift, weight, (0..=most).map(value).collect())
        };
        self.shared_grid().nodes.into_iter().map(of_node).collect()
    }
}

/// The fewest units more, at planting, that meet the level.
fn units_lacking(
    survivors: &Distribution,
    enough: &mut EnoughComeUp,
    total: usize,
    level: ServiceLevel,
) -> Short {
    let mut most = 1;
    loop {
        enough.extend_to(total + most);
        let reached = |more| level.met_by(average(survivors, |k| enough.chance(k + more)));
        if reached(most) {
            let units = smallest(most, reached);
            return u32::try_from(units).map_or(Short::TooMany, Short::Units);
        }
        if most == MOST_SHORT {
            return Short::TooMany;
        }
        most = (most * 2).min(MOST_SHORT);
    }
}
