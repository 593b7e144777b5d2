//! The difference between two arms in survival over 180 days.

use std::collections::BTreeSet;

use statrs::function::erf::erf;

use crate::fit::{LossData, LossFit, LossFitError, fit};

/// The time over which survival is told, in days: lifting to planting, common practice, no source.
pub const OVER_DAYS: f64 = 180.0;

/// What an arm must hold before anything is said of it. Ours, no source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rules {
    /// Lots of each arm, at least.
    pub lots: usize,
    /// Varieties in both arms, at least, where there are several.
    pub shared: usize,
    /// The chance from which on a difference counts as settled.
    pub settled: f64,
}

impl Default for Rules {
    fn default() -> Self {
        Self { lots: 5, shared: 2, settled: 0.9 }
    }
}

/// One way of keeping stock.
#[derive(Debug, Clone, PartialEq)]
pub struct Arm {
    /// Its name, as `film wrap`.
    pub name: String,
    /// Its lots.
    pub lots: usize,
    /// Units first looked at, summed over its lots.
    pub units: u64,
    /// Losses, summed over all looks.
    pub lost: u64,
    /// The share of a typical lot expected alive after [`OVER_DAYS`].
    pub alive: f64,
}

/// The difference that the data bear.
#[derive(Debug, Clone, PartialEq)]
pub struct Difference {
    /// The two arms, in the order of the data.
    pub arms: [Arm; 2],
    /// The first's share alive less the second's: expected, and the likely range (1 in 10 below,
    /// 1 in 10 above).
    pub expected: f64,
    /// Its lower end.
    pub low: f64,
    /// Its upper end.
    pub high: f64,
    /// Which is the better one, and how likely.
    pub better: Better,
    /// Units more that would settle it.
    pub more: MoreToSettle,
}

/// Which arm is better, and the chance that it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Better {
    /// Index of the arm.
    pub arm: usize,
    /// From 0.5 to 1.
    pub chance: f64,
}

/// How much more would settle which is better.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MoreToSettle {
    /// It is settled.
    Nothing,
    /// About so many units more, half in each arm, in lots like these.
    Units(u64),
    /// More than a hundred times what there is: they are alike for all practical ends.
    OutOfReach,
}

/// Why nothing is said.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotBorne {
    /// There aren't two arms.
    #[error("there are looks at lots of {0} only; nothing to compare")]
    OneArm(String),
    /// An arm has too few lots.
    #[error(
        "only {lots} of {arm} were looked at; {least} are the least that could show a difference"
    )]
    FewLots {
        /// Which arm.
        arm: String,
        /// How many, as `3 lots`.
        lots: String,
        /// The rule.
        least: usize,
    },
    /// An arm without losses shows how good it is at least, not how good.
    #[error(
        "nothing of {inspected} units of {arm} was lost yet; a difference can't be told before something is"
    )]
    NothingLost {
        /// Which arm.
        arm: String,
        /// Units looked at.
        inspected: u64,
    },
    /// An arm without survivors.
    #[error("everything of {arm} was lost; look for the cause before comparing")]
    AllLost {
        /// Which arm.
        arm: String,
    },
    /// The arms hold different varieties (or lie on different farms), so that nobody can say which
    /// of the two made the difference.
    #[error(
        "{arm} was used for {only} alone, {other} never: the {group} may have made the difference"
    )]
    Confounded {
        /// Of which group: `variety`.
        group: String,
        /// The arm.
        arm: String,
        /// What it alone holds, in words.
        only: String,
        /// The other arm.
        other: String,
    },
    /// The looks can't be fitted.
    #[error(transparent)]
    NotFitted(#[from] LossFitError),
}

/// What can be said of two arms.
pub type Verdict = Result<Difference, NotBorne>;

/// Compares the data's first two arms.
///
/// The chance is that of a normal difference of the arms' μ; shares alive are averaged over what
/// lots and varieties differ by.
///
/// ```
/// use spareloop_domain::fit::{LossData, LossLook};
/// use spareloop_domain::works::{Rules, compare};
/// let mut data = LossData::comparing("packing".to_owned(), vec!["variety".to_owned()]);
/// for (at, (arm, lost)) in [("film", 1), ("film", 2), ("sand", 9)].iter().enumerate() {
///     let look = LossLook { days: 60, inspected: 40, lost: *lost };
///     data.add_to(arm, &format!("lot {at}"), &["Zindle Ember"], look)?;
/// }
/// let too_few = compare(&data, Rules::default()).unwrap_err();
/// assert!(too_few.to_string().contains("2 lots of film"));
/// # Ok::<(), spareloop_domain::fit::LossDataError>(())
/// ```
pub fn compare(data: &LossData, rules: Rules) -> Verdict {
    let [first, second] = arms(data)?;
    for arm in [&first, &second] {
        enough(data, arm, rules)?;
    }
    for group in 0..data.groups().len() {
        shared(data, group, [&first, &second], rules)?;
    }
    let fitted = fit(data)?;
    Ok(difference([first, second], &fitted, rules))
}

fn arms(data: &LossData) -> Result<[Arm; 2], NotBorne> {
    let mut arms = data.arms().iter().map(|name| Arm {
        name: name.clone(),
        lots: 0,
        units: 0,
        lost: 0,
        alive: f64::NAN,
    });
    let (Some(first), second) = (arms.next(), arms.next()) else {
        return Err(NotBorne::OneArm("nothing".to_owned()));
    };
    let Some(second) = second else { return Err(NotBorne::OneArm(first.name)) };
    let mut both = [first, second];
    for lot in 0..data.lots().len() {
        let looks = data.looks(lot);
        let Some(arm) = both.get_mut(data.arm(lot) as usize) else { continue };
        let Some(first) = looks.first() else { continue };
        arm.lots += 1;
        arm.units += u64::from(first.inspected);
        arm.lost += looks.iter().map(|look| u64::from(look.lost)).sum::<u64>();
    }
    Ok(both)
}

fn enough(data: &LossData, arm: &Arm, rules: Rules) -> Result<(), NotBorne> {
    if arm.lots < rules.lots {
        let lots = if arm.lots == 1 { "1 lot".to_owned() } else { format!("{} lots", arm.lots) };
        return Err(NotBorne::FewLots { arm: arm.name.clone(), lots, least: rules.lots });
    }
    let of_arm = (0..data.lots().len())
        .filter(|lot| data.arms()[data.arm(*lot) as usize] == arm.name)
        .flat_map(|lot| data.looks(lot));
    let inspected: u64 = of_arm.map(|look| u64::from(look.inspected)).sum();
    if arm.lost == 0 {
        return Err(NotBorne::NothingLost { arm: arm.name.clone(), inspected: arm.units });
    }
    if arm.lost == inspected {
        return Err(NotBorne::AllLost { arm: arm.name.clone() });
    }
    Ok(())
}

/// Both arms must hold some of the same levels, or there must be one level only.
fn shared(data: &LossData, group: usize, arms: [&Arm; 2], rules: Rules) -> Result<(), NotBorne> {
    let labels = data.labels(group);
    if labels.len() < 2 {
        return Ok(());
    }
    let mut held: [BTreeSet<u32>; 2] = Default::default();
    for lot in (0..data.lots().len()).filter(|lot| !data.looks(*lot).is_empty()) {
        if let Some(levels) = held.get_mut(data.arm(lot) as usize) {
            levels.insert(data.levels(lot)[group]);
        }
    }
    let both = held[0].intersection(&held[1]).count();
    if both >= rules.shared.min(labels.len()) {
        return Ok(());
    }
    // The arm that holds most on its own is the one to name.
    let alone = |at: usize| held[at].difference(&held[1 - at]).count();
    let at = usize::from(alone(1) > alone(0));
    let only: Vec<&str> =
        held[at].difference(&held[1 - at]).map(|level| labels[*level as usize].as_str()).collect();
    let only = match only.as_slice() {
        [some @ .., last] if some.len() > 3 => format!("{}, ... and {last}", some[..3].join(", ")),
        [some @ .., last] if !some.is_empty() => format!("{} and {last}", some.join(", ")),
        some => some.join(""),
    };
    Err(NotBorne::Confounded {
        group: data.groups().nth(group).unwrap_or_default().to_owned(),
        arm: arms[at].name.clone(),
        only,
        other: arms[1 - at].name.clone(),
    })
}

fn difference(mut arms: [Arm; 2], fitted: &LossFit, rules: Rules) -> Difference {
    let squares = fitted.group_sd.iter().map(|sd| sd * sd).sum::<f64>();
    let between = (squares + fitted.lot_sd * fitted.lot_sd).sqrt();
    let (mean, covariance) = (&fitted.arms, &fitted.arms_covariance);
    for (arm, mean) in arms.iter_mut().zip(mean) {
        arm.alive = alive(*mean, between);
    }
    let mut draws = spread(mean, covariance, between);
    draws.sort_by(|one, other| one.0.total_cmp(&other.0));
    let quantile = |level: f64| {
        let mut sum = 0.0;
        draws
            .iter()
            .find(|(_, weight)| {
                sum += weight;
                sum >= level
            })
            .map_or(0.0, |draw| draw.0)
    };
    let apart = mean[1] - mean[0];
    let variance = (covariance[0][0] + covariance[1][1] - 2.0 * covariance[0][1]).max(1e-12);
    let chance_first = normal_below(apart / variance.sqrt());
    let better = if chance_first >= 0.5 {
        Better { arm: 0, chance: chance_first }
    } else {
        Better { arm: 1, chance: 1.0 - chance_first }
    };
    let units: u64 = arms.iter().map(|arm| arm.units).sum();
    let more = more_to_settle(apart, variance, better.chance, units, rules.settled);
    Difference {
        expected: draws.iter().map(|(value, weight)| value * weight).sum(),
        low: quantile(0.1),
        high: quantile(0.9),
        arms,
        better,
        more,
    }
}

/// Information grows with units, so the variance falls as they grow in number.
fn more_to_settle(
    apart: f64,
    variance: f64,
    chance: f64,
    units: u64,
    settled: f64,
) -> MoreToSettle {
    if chance >= settled {
        return MoreToSettle::Nothing;
    }
    let wanted = (apart / normal_quantile(settled)).powi(2);
    let times = variance / wanted - 1.0;
    if !(times.is_finite() && times < 100.0) {
        return MoreToSettle::OutOfReach;
    }
    // At most a hundred times a count of units; the cast keeps the whole part of a number above 0.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let more = (units as f64 * times).ceil() as u64;
    MoreToSettle::Units(more.max(1))
}

/// Nodes of a standard normal, dense enough for what is smooth.
fn nodes(half: i32) -> Vec<(f64, f64)> {
    let step = 4.0 / f64::from(half);
    let density = |at: i32| (-0.5 * (f64::from(at) * step).powi(2)).exp();
    let sum: f64 = (-half..=half).map(density).sum();
    (-half..=half).map(|at| (f64::from(at) * step, density(at) / sum)).collect()
}

/// The share of a lot alive after [`OVER_DAYS`], over what lots differ by.
fn alive(log_hazard: f64, between: f64) -> f64 {
    let each = nodes(20).into_iter();
    each.map(|(z, w)| w * (-OVER_DAYS * (log_hazard + between * z).exp()).exp()).sum()
}

/// Differences of the shares alive with their weights, over what isn't known of both arms.
fn spread(mean: &[f64], covariance: &[Vec<f64>], between: f64) -> Vec<(f64, f64)> {
    let sd = covariance[0][0].max(0.0).sqrt();
    let tie = if sd > 0.0 { covariance[0][1] / sd } else { 0.0 };
    let own = (covariance[1][1] - tie * tie).max(0.0).sqrt();
    let mut draws = Vec::new();
    for (z, w) in nodes(40) {
        let first = alive(mean[0] + sd * z, between);
        for (y, v) in nodes(40) {
            let second = alive(mean[1] + tie * z + own * y, between);
            draws.push((first - second, w * v));
        }
    }
    draws
}

fn normal_below(at: f64) -> f64 {
    0.5 * (1.0 + erf(at / std::f64::consts::SQRT_2))
}

fn normal_quantile(level: f64) -> f64 {
    std::f64::consts::SQRT_2 * statrs::function::erf::erf_inv(2.0 * level - 1.0)
}
