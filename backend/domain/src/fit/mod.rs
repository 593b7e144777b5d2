//! What all lots of a network, or of a farm, say together about losses in store.
//!
//! ```text
//! data     looks at lots, each lot with its variety, packing, farm
//! look     what one look says about a log hazard
//! system   the sparse linear system of lots and groups
//! laplace  the likelihood with all effects integrated out, and its gradient
//! remark   what a fit can't tell, in words
//! given    a belief whose standard deviations are known, and what is learned on top of it
//! learn    the looks taken into it
//! ```
//!
//! ```text
//! lost ~ Binomial(inspected, 1 − exp(−λ days))
//! log λ = μ + u_variety + u_packing + u_farm + ε_lot
//! ```
//!
//! with each effect normal with mean 0 and its own variance: grouped proportional hazards (Prentice and
//! Gloeckler, Biometrics 34 (1978) 57) with random effects, fitted by maximum likelihood. What may
//! not enter: a stock book, a calendar, sentences.

mod data;
mod given;
mod laplace;
mod learn;
mod look;
mod remark;
mod system;
#[cfg(test)]
mod tests;

pub use data::{LossData, LossDataError, LossLook};
pub use given::{Given, GivenLevel, Learned};
pub use learn::learn;
pub use remark::{Remark, remarks};

use crate::climb::{Seen, climb};
use crate::forecast::{LossRow, posterior};
use data::Flat;
use laplace::{Laplace, Modes, Point, Value};
use system::{Factored, Intercept, Pattern};

/// A standard deviation below this is tried at 0, too.
const SMALL: f64 = 0.05;
/// Where the search begins; small data are searched from all of them, large ones from the first.
const STARTS: [f64; 3] = [0.5, 0.1, 1.5];
const SMALL_DATA: usize = 500;
/// The squared error of a number of which nothing is known.
const UNKNOWN: f64 = 25.0;

/// What was fitted.
#[derive(Debug, Clone, PartialEq)]
pub struct LossFit {
    /// Why nothing could be fitted, if so. Lots then have the first-season guess and their own looks.
    pub degenerate: Option<Degenerate>,
    /// μ, and the likelihood at the optimum; `None` where nothing could be fitted.
    pub optimum: Option<Optimum>,
    /// Standard deviation of each group's effects, in the order of the data's groups.
    pub group_sd: Vec<f64>,
    /// Standard deviation of the lots' own effects.
    pub lot_sd: f64,
    /// The mode of each effect, by group and level.
    pub effects: Vec<Vec<f64>>,
    /// Each lot's log hazard.
    pub lots: Vec<LotHazard>,
    /// Each arm's μ; one unless arms are compared.
    pub arms: Vec<f64>,
    /// The covariance of the arms' μ, standard deviations taken as known.
    pub arms_covariance: Vec<Vec<f64>>,
    /// How often the likelihood was worked out: what the fit cost.
    pub evaluations: u32,
}

/// The optimum's height and place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Optimum {
    /// μ: the log of the hazard per day of a lot without effects (of the first arm).
    pub log_hazard: f64,
    /// The log likelihood, binomial coefficients included.
    pub log_likelihood: f64,
}

/// Nothing can be fitted, since the likelihood has no optimum.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Degenerate {
    /// Nothing was lost (or nothing looked at).
    NoLosses,
    /// Everything was lost.
    AllLost,
}

impl Degenerate {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::NoLosses => "no losses",
            Self::AllLost => "all lost",
        }
    }
}

/// What is believed of a lot's log hazard per day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LotHazard {
    /// The mode.
    pub mean: f64,
    /// From the inverse expected information in μ and all effects together.
    pub sd: f64,
}

/// Why there is no fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum LossFitError {
    /// Numbers ran out of range.
    #[error("the looks can't be fitted in floating-point numbers; are days and counts in order?")]
    OutOfRange,
}

/// Fits the looks by maximum likelihood.
///
/// ```
/// use spareloop_domain::fit::{LossData, LossLook, fit};
/// let mut data = LossData::new(vec![]);
/// for (lot, lost) in [("a", 2), ("b", 9), ("c", 4)] {
///     data.add(lot, &[], LossLook { days: 30, inspected: 50, lost })?;
/// }
/// let fitted = fit(&data)?;
/// assert!(fitted.lots[1].mean > fitted.lots[0].mean);
/// // Each lot is drawn towards the others.
/// assert!(fitted.lots[1].mean < (-(1.0 - 9.0 / 50.0_f64).ln() / 30.0).ln());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn fit(data: &LossData) -> Result<LossFit, LossFitError> {
    let (lost, inspected) = data.totals();
    if lost == 0 {
        return Ok(unfitted(data, Degenerate::NoLosses));
    }
    if lost == inspected {
        return Ok(unfitted(data, Degenerate::AllLost));
    }
    let (flat, pattern) = (Flat::of(data), Pattern::of(data));
    let function = Laplace::new(data, &flat, &pattern);
    let best = starts(data)
        .into_iter()
        .filter_map(|(sds, sd)| top(data, &function, sds, sd))
        .max_by(|one, other| one.1.height.total_cmp(&other.1.height))
        .and_then(|best| settled(data, &function, best));
    let (point, value) = best.ok_or(LossFitError::OutOfRange)?;
    answer(data, &function, &point, &value).ok_or(LossFitError::OutOfRange)
}

/// The log likelihood at given parameters: standard deviations by group, of lots, and μ.
///
/// For comparing with another program's optimum.
pub fn log_likelihood(
    data: &LossData,
    group_sd: &[f64],
    lot_sd: f64,
    log_hazard: f64,
) -> Option<f64> {
    let (flat, pattern) = (Flat::of(data), Pattern::of(data));
    let at = group_sd.iter().copied().chain([lot_sd, log_hazard]).collect();
    let function = Laplace::new(data, &flat, &pattern);
    function
        .value(&Point { at, groups: group_sd.len() }, &pattern.no_effects())
        .map(|value| value.height)
}

/// For each level of a group, the standard deviation of what the log hazards of its lots have in
/// common, by the mean covariance of two of them; 0 where there is one lot. The rest of a lot's
/// variance is its own.
///
/// A variety's lots live and die together by this much: its total is to be mixed over it.
pub fn shared_sd(data: &LossData, fitted: &LossFit, group: usize) -> Vec<f64> {
    let mut of_level: Vec<Vec<usize>> = vec![Vec::new(); data.labels(group).len()];
    for lot in 0..data.lots().len() {
        of_level[data.levels(lot)[group] as usize].push(lot);
    }
    let (flat, pattern) = (Flat::of(data), Pattern::of(data));
    let scales = pattern.scales(&fitted.group_sd, fitted.lot_sd, Intercept::Unknown);
    let means = fitted.lots.iter().enumerate();
    let weights: Vec<f64> =
        means.map(|(lot, hazard)| flat.of_lot(lot).expected(hazard.mean).curvature).collect();
    let factored = if fitted.degenerate.is_some() {
        None
    } else {
        Factored::new(&pattern, &scales, &weights, Intercept::Unknown)
    };
    let Some(factored) = factored else { return vec![0.0; of_level.len()] };
    let common = |lots: &Vec<usize>| {
        if lots.len() < 2 {
            return 0.0;
        }
        let count = lots.len() as f64;
        let mut mean = vec![0.0; pattern.lots()];
        for lot in lots {
            mean[*lot] = 1.0 / count;
        }
        let side = pattern.spread(&scales, &mean);
        let mut solved = side.clone();
        factored.solve(&mut solved);
        let each: f64 = lots.iter().map(|lot| fitted.lots[*lot].sd.powi(2)).sum();
        let covariance = (count * count * side.dot(&solved) - each) / (count * (count - 1.0));
        covariance.max(0.0).sqrt()
    };
    of_level.iter().map(common).collect()
}

impl Seen for Value {
    fn value(&self) -> f64 {
        self.height
    }
    fn gradient(&self) -> &[f64] {
        &self.gradient
    }
}

/// Standard deviations from which to climb, and how large those above 0 are.
///
/// Small data have several tops, so that every choice of groups is climbed by itself: what is at 0
/// stays there.
fn starts(data: &LossData) -> Vec<(Vec<f64>, f64)> {
    let places = data.groups().len() + 1;
    if data.lots().len() >= SMALL_DATA {
        return vec![(vec![STARTS[0]; places], STARTS[0])];
    }
    let chosen = |choice: u32, sd: f64| -> Vec<f64> {
        (0..places).map(|place| if choice >> place & 1 == 1 { sd } else { 0.0 }).collect()
    };
    let choices = |sd| (0..1_u32 << places).map(move |choice| (chosen(choice, sd), sd));
    STARTS.into_iter().flat_map(choices).collect()
}

/// Climbs from one start.
fn top(
    data: &LossData,
    function: &Laplace<'_>,
    sds: Vec<f64>,
    sd: f64,
) -> Option<(Vec<f64>, Value)> {
    let mut at = sds;
    at.extend(function.flat.crude_log_hazards(data));
    let seen = function.look(&at, &function.pattern.no_effects())?;
    Some(up(function, at, seen, &spread(data, sd)))
}

fn up(function: &Laplace<'_>, at: Vec<f64>, seen: Value, spread: &[f64]) -> (Vec<f64>, Value) {
    climb(at, seen, spread, |at, near| function.look(at, &near.modes.effects))
}

/// From the best top: standard deviations are tried at 0, the small ones or, in small data, all of
/// them. Small data are also searched as if nothing were known of how far each number may be off:
/// their hills are so flat that a climb stops early.
fn settled(
    data: &LossData,
    function: &Laplace<'_>,
    (at, value): (Vec<f64>, Value),
) -> Option<(Point, Value)> {
    let groups = data.groups().len();
    let is_small = function.flat.lots() < SMALL_DATA;
    let known = spread(data, STARTS[0]);
    let unknown = vec![UNKNOWN; at.len()];
    let anew = |at: Vec<f64>, seen: Value| {
        let (at, seen) = up(function, at, seen, &known);
        if is_small { up(function, at, seen, &unknown) } else { (at, seen) }
    };
    let (mut at, mut value) = if is_small { anew(at, value) } else { (at, value) };
    for place in 0..=groups {
        if at[place] == 0.0 || !(is_small || at[place].abs() < SMALL) {
            continue;
        }
        let mut without = at.clone();
        without[place] = 0.0;
        let Some(there) = function.look(&without, &value.modes.effects) else { continue };
        // A slope of 0 at 0 by symmetry keeps it there while the others settle.
        let (moved, there) = anew(without, there);
        if there.height >= value.height - 1e-7 {
            (at, value) = (moved, there);
        }
    }
    // The function is even in them, and a climb may end on either side.
    for sd in &mut at[..=groups] {
        *sd = sd.abs();
    }
    // Effects' signs belong to the standard deviations' as they were climbed.
    let value = function.look(&at, &function.pattern.no_effects())?;
    Some((Point { at, groups }, value))
}

/// The squared error that each parameter would have if every effect were seen exactly.
fn spread(data: &LossData, sd: f64) -> Vec<f64> {
    let levels = (0..data.groups().len()).map(|group| data.labels(group).len());
    let counts: Vec<f64> = levels.chain([data.lots().len()]).map(|levels| levels as f64).collect();
    let square = sd * sd;
    let of_sd = counts.iter().map(|levels| square / (2.0 * levels));
    let of_mean: f64 = counts.iter().map(|levels| square / levels).sum();
    of_sd.chain(data.arms().iter().map(|_| of_mean)).collect()
}

fn answer(
    data: &LossData,
    function: &Laplace<'_>,
    point: &Point,
    value: &Value,
) -> Option<LossFit> {
    let pattern = function.pattern;
    let groups = data.groups().len();
    let Modes { effects, log_hazards, .. } = &value.modes;
    let scales = point.scales(pattern, Intercept::Unknown);
    let expected = function.expected(log_hazards);
    let weights: Vec<f64> = expected.iter().map(|one| one.curvature).collect();
    let factored = Factored::new(pattern, &scales, &weights, Intercept::Unknown)?;
    let leverages = factored.leverages();
    let lots = log_hazards
        .iter()
        .enumerate()
        .map(|(lot, mean)| LotHazard { mean: *mean, sd: leverages.of_lot(lot).variance.sqrt() });
    let of_group = |group: usize| {
        let levels = 0..data.labels(group).len();
        levels.map(|level| point.at[group] * pattern.effect_at(group, level, effects)).collect()
    };
    Some(LossFit {
        degenerate: None,
        optimum: Some(Optimum { log_hazard: point.log_hazards()[0], log_likelihood: value.height }),
        group_sd: point.at[..groups].to_vec(),
        lot_sd: point.at[groups],
        effects: (0..groups).map(of_group).collect(),
        lots: lots.collect(),
        arms: point.log_hazards().to_vec(),
        arms_covariance: factored.of_arms(),
        evaluations: function.evaluations.get(),
    })
}

fn unfitted(data: &LossData, why: Degenerate) -> LossFit {
    let lot = |lot| {
        let looks = data.looks(lot).iter();
        let rows: Vec<LossRow> = looks
            .map(|look| LossRow { days: look.days, inspected: look.inspected, lost: look.lost })
            .collect();
        let own = posterior(&rows);
        LotHazard { mean: own.log_hazard_mean(), sd: own.log_hazard_sd() }
    };
    let none = |group| vec![0.0; data.labels(group).len()];
    LossFit {
        degenerate: Some(why),
        optimum: None,
        group_sd: vec![0.0; data.groups().len()],
        lot_sd: 0.0,
        effects: (0..data.groups().len()).map(none).collect(),
        lots: (0..data.lots().len()).map(lot).collect(),
        arms: Vec::new(),
        arms_covariance: Vec::new(),
        evaluations: 0,
    }
}
