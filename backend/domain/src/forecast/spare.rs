//! What of a variety can be given away, and what is lacking.
//!
//! Spare is the largest number k such that, with k units taken out now, the chance that enough
//! plants come up is at least the service level, less what is kept back; short is the smallest
//! number of units more, at planting, that reaches it. Lots are independent once what they share is
//! known; one emergence rate holds for the variety. What may not enter: offers and holds; whoever
//! asks takes promised stock out of the lots first.

use serde::{Deserialize, Serialize};

use super::emergence::EnoughComeUp;
use super::hazard::{self, LogHazard, MOST_INFORMATION, SeenGroup};
use super::{EmergenceRate, ForecastError, Survivors, affordable};
use crate::chance::{Distribution, NormalGrid, ROUNDING, Tail};

/// One lot of the variety, as last seen.
#[derive(Debug, Clone, PartialEq)]
pub struct LotInStore {
    /// Its units by days from last seen alive to planting; the last group is taken first.
    pub groups: Vec<SeenGroup>,
    /// What is believed of its own rate.
    pub hazard: LogHazard,
}

/// How sure to be that enough comes up: strictly between 0 and 1.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(try_from = "f64", into = "f64")]
pub struct ServiceLevel(f64);

/// A number that is no service level.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("how sure to be must lie strictly between 0 and 1 (got {0})")]
pub struct ServiceLevelError(pub f64);

impl ServiceLevel {
    /// Checks a number.
    pub fn new(level: f64) -> Result<Self, ServiceLevelError> {
        if level > 0.0 && level < 1.0 { Ok(Self(level)) } else { Err(ServiceLevelError(level)) }
    }

    /// The plain number.
    pub const fn get(self) -> f64 {
        self.0
    }

    fn met_by(self, chance: f64) -> bool {
        chance + ROUNDING >= self.0
    }
}

impl Default for ServiceLevel {
    /// 9 springs in 10; common practice, no source.
    fn default() -> Self {
        Self(0.9)
    }
}

impl TryFrom<f64> for ServiceLevel {
    type Error = ServiceLevelError;
    fn try_from(level: f64) -> Result<Self, ServiceLevelError> {
        Self::new(level)
    }
}

impl From<ServiceLevel> for f64 {
    fn from(level: ServiceLevel) -> Self {
        level.0
    }
}

/// What a farm keeps back beyond its own need: the greater of a share, rounded up, and a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KeepBackRule {
    /// Percent of the plants wanted.
    pub percent: u32,
    /// Units at least.
    pub at_least: u32,
}

impl Default for KeepBackRule {
    /// 10 % and 3 units; common practice, no source.
    fn default() -> Self {
        Self { percent: 10, at_least: 3 }
    }
}

impl KeepBackRule {
    /// Units to keep back when so many plants are wanted.
    ///
    /// ```
    /// use spareloop_domain::forecast::KeepBackRule;
    /// assert_eq!(KeepBackRule::default().units(20), 3);
    /// assert_eq!(KeepBackRule::default().units(41), 5);
    /// ```
    pub fn units(self, plants_wanted: u32) -> u32 {
        let share = (u64::from(plants_wanted) * u64::from(self.percent)).div_ceil(100);
        u32::try_from(share).unwrap_or(u32::MAX).max(self.at_least)
    }
}

/// What a plan asks for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlanTerms {
    /// Plants wanted in the ground.
    pub plants_wanted: u64,
    /// How sure to be of them.
    pub service_level: ServiceLevel,
    /// Units kept back before anything is spare.
    pub keep_back: u64,
}

impl PlanTerms {
    /// The farm's rules applied to a number of plants.
    pub fn by_rule(plants_wanted: u32, level: ServiceLevel, keep_back: KeepBackRule) -> Self {
        Self {
            plants_wanted: u64::from(plants_wanted),
            service_level: level,
            keep_back: u64::from(keep_back.units(plants_wanted)),
        }
    }

    /// The default rules applied to a number of plants.
    pub fn wanting(plants_wanted: u32) -> Self {
        Self::by_rule(plants_wanted, ServiceLevel::default(), KeepBackRule::default())
    }
}

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
    /// Above [`MOST_SHORT`].
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
    let store = Store::of(&question.lots, question.shared_sd);
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
    affordable(store.work())?;
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

/// Survivors of several lots together, whose log rates share a part of standard deviation
/// `shared_sd` (0 to 20): lots that were taken as strangers would promise too narrow a range.
pub fn survivors_of_all(lots: &[LotInStore], shared_sd: f64) -> Result<Survivors, ForecastError> {
    let store = Store::of(lots, shared_sd);
    affordable(store.work())?;
    Ok(Survivors::with_mean(store.expected(), store.survivors_of_all()))
}

/// The lots that hold anything, with what they share.
struct Store {
    lots: Vec<LotInStore>,
    shared_sd: f64,
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

fn count(groups: &[SeenGroup]) -> u32 {
    groups.iter().map(|group| group.count).sum()
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

impl Store {
    fn of(lots: &[LotInStore], shared_sd: f64) -> Self {
        let lots = lots.iter().filter(|lot| count(&lot.groups) > 0).cloned().collect();
        Self { lots, shared_sd }.simplified()
    }

    /// One lot shares with nobody: both spreads are one.
    fn simplified(mut self) -> Self {
        if let [only] = self.lots.as_mut_slice() {
            only.hazard = only.hazard.widened(self.shared_sd);
            self.shared_sd = 0.0;
        }
        self
    }

    fn total(&self) -> usize {
        self.lots.iter().map(|lot| count(&lot.groups) as usize).sum()
    }

    /// Units expected to survive.
    fn expected(&self) -> f64 {
        let of_lot = |lot: &LotInStore| {
            let hazard = lot.hazard.widened(self.shared_sd);
            lot.groups.iter().map(|g| f64::from(g.count) * hazard.survival(g.days)).sum::<f64>()
        };
        self.lots.iter().map(of_lot).sum()
    }

    /// What all lots together can tell about what they share: each one's own spread blurs it.
    fn shared_information(&self) -> f64 {
        let of_lot = |lot: &LotInStore| {
            let counts = 1.0 / (MOST_INFORMATION * f64::from(count(&lot.groups)));
            1.0 / (counts + lot.hazard.sd().powi(2))
        };
        self.lots.iter().map(of_lot).sum()
    }

    fn shared_grid(&self) -> NormalGrid {
        hazard::grid_for(self.shared_sd, self.shared_information())
    }

    /// Multiplications, within a small factor: all lots once for each shared node, and the halving
    /// within the costliest lot.
    fn work(&self) -> f64 {
        let (mut once, mut most, mut before) = (0.0, 0.0, 1.0);
        for lot in &self.lots {
            let units = f64::from(count(&lot.groups));
            let alone = hazard::work(&lot.groups, lot.hazard, Tail::Cut);
            once += alone + before * units;
            let halving = alone * units.log2().max(1.0) + before * units;
            most = f64::max(most, halving);
            before += units;
        }
        (once + most) * hazard::grid_size(self.shared_sd, self.shared_information())
    }

    fn survivors(lot: &LotInStore, shift: f64) -> Distribution {
        hazard::mixed(&lot.groups, lot.hazard.shifted(shift), Tail::Cut)
    }

    fn survivors_of_all(&self) -> Distribution {
        let mut all = vec![0.0; self.total() + 1];
        for (z, weight) in self.shared_grid().nodes {
            let sum = self.lots.iter().fold(Distribution::certain(0), |sum, lot| {
                sum.convolve(&Self::survivors(lot, self.shared_sd * z), Tail::Cut)
            });
            sum.add_to(&mut all, weight);
        }
        Distribution::from_chances(all)
    }

    fn keep_lot_by_lot(&self, enough: &EnoughComeUp) -> Kept {
        let mut chances = vec![0.0; self.lots.len() + 1];
        let mut all = vec![0.0; self.total() + 1];
        for (z, weight) in self.shared_grid().nodes {
            let mut sum = Distribution::certain(0);
            chances[0] += weight * average(&sum, |k| enough.chance(k));
            for (lot, chance) in self.lots.iter().zip(&mut chances[1..]) {
                sum = sum.convolve(&Self::survivors(lot, self.shared_sd * z), Tail::Cut);
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
            let chance = values
                .iter()
                .map(|(shift, weight, value)| {
                    weight * average(&Self::survivors(&kept, *shift), |k| value[k])
                })
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
        let of_node = |(z, weight): (f64, f64)| {
            let shift = self.shared_sd * z;
            let others = before.iter().fold(Distribution::certain(0), |sum, lot| {
                sum.convolve(&Self::survivors(lot, shift), Tail::Cut)
            });
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
