//! How a lot's rate of loss comes about: from a typical lot over the farm, the packing, the variety to
//! its own looks, each step with what it adds.

use super::Ground;
use crate::fit::{Given, Learned, LossData};

/// What a step is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum StepOf {
    /// Where it begins: what stands behind the farm's own looks.
    Begin(Ground),
    /// The farm as a whole, against where it began.
    Farm,
    /// The packing, by its code; empty while none is noted.
    Packing(String),
    /// The variety.
    Variety,
    /// What is the lot's own.
    Lot,
}

/// One step: what it adds to the log of the loss rate, and where that has come.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// What it is about.
    pub of: StepOf,
    /// What it adds to log λ; for the first, log λ itself.
    pub adds: f64,
    /// log λ per day after it.
    pub log_hazard: f64,
}

impl Step {
    /// The share alive after so many days at that rate.
    pub fn alive_after(&self, days: u32) -> f64 {
        (-f64::from(days) * self.log_hazard.exp()).exp()
    }
}

/// The steps of the lot at a place of the data, up to its log hazard. What its looks say beyond all
/// else is the last.
pub(super) fn steps(
    data: &LossData,
    given: &Given,
    learned: &Learned,
    (lot, log_hazard): (usize, f64),
    ground: Ground,
) -> Vec<Step> {
    let levels = data.levels(lot);
    let at = |group: usize| levels.get(group).map(|level| *level as usize);
    let column =
        |group: usize| Some(learned.columns[given.columns.get(group - 1)?[at(group)?]].mean);
    // Where nothing is believed of μ but by the farm's own looks, it begins with these.
    let typical = learned.columns[0].mean;
    let begin = match ground {
        Ground::OwnRecords => typical,
        Ground::FirstSeason | Ground::Network { .. } => given.mean[0],
    };
    let packing = at(1).map_or(String::new(), |level| data.labels(1)[level].clone());
    let variety = at(0).map_or(0.0, |level| learned.levels[level].mean);
    let parts = [
        (StepOf::Farm, typical - begin + column(2).unwrap_or(0.0)),
        (StepOf::Packing(packing), column(1).unwrap_or(0.0)),
        (StepOf::Variety, variety),
    ];
    let mut steps = vec![Step { of: StepOf::Begin(ground), adds: begin, log_hazard: begin }];
    let mut sum = begin;
    for (of, adds) in parts {
        sum += adds;
        steps.push(Step { of, adds, log_hazard: sum });
    }
    steps.push(Step { of: StepOf::Lot, adds: log_hazard - sum, log_hazard });
    steps
}
