//! Lots under a belief that is given: no standard deviation is estimated here.
//!
//! ```text
//! c = mean + R z                              what lots have in common, by column: μ, packings, farms
//! u_v = mean_v + lean_v · z + sd_v w_v        a variety's effect; it may lean on the columns
//! log λ = c_μ + c_packing + c_farm + u_v + sd ε
//! ```
//!
//! z, w and ε being standard normal before the looks; [`super::learn`] takes the looks in. What may not
//! enter: where the belief comes from.

use nalgebra::{DMatrix, DVector};

use super::LotHazard;

/// What is believed before the looks, arranged for some data: its first group has an effect of its
/// own kind each (varieties), the levels of its other groups name columns.
#[derive(Debug, Clone, PartialEq)]
pub struct Given {
    /// The mean of each column; the first is μ.
    pub mean: Vec<f64>,
    /// The lower root R of the columns' covariance.
    pub root: DMatrix<f64>,
    /// For each further group of the data, the column of each of its levels.
    pub columns: Vec<Vec<usize>>,
    /// For each level of the data's first group.
    pub levels: Vec<GivenLevel>,
    /// The standard deviation of the lots' own effects.
    pub lot_sd: f64,
}

/// What is believed of one variety's effect.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct GivenLevel {
    /// Its mean.
    pub mean: f64,
    /// How it leans on the z of each column; empty for not at all.
    pub lean: Vec<f64>,
    /// The standard deviation of the rest.
    pub sd: f64,
}

/// What is believed behind the looks.
#[derive(Debug, Clone)]
pub struct Learned {
    /// Each lot's log hazard, in the order of the data.
    pub lots: Vec<LotHazard>,
    /// Each lot's own effect: what its looks say beyond all that it shares.
    pub own: Vec<f64>,
    /// Each column: mean and sd.
    pub columns: Vec<LotHazard>,
    /// The covariance of the columns.
    pub covariance: DMatrix<f64>,
    /// Each variety's effect: mean and sd.
    pub levels: Vec<LotHazard>,
    /// Each variety's covariance with the columns.
    pub with_columns: Vec<Vec<f64>>,
    pub(super) shares: Shares,
}

/// What is needed to say how much lots have in common.
#[derive(Debug, Clone)]
pub(super) struct Shares {
    /// The covariance of z.
    pub(super) z: DMatrix<f64>,
    /// Each lot's weight on z, on its variety's rest, and its level.
    pub(super) lots: Vec<(DVector<f64>, f64, usize)>,
    /// The variance of each variety's rest, z being known.
    pub(super) rest: Vec<f64>,
}

impl Learned {
    /// The standard deviation of what some lots of one variety have in common, by the mean
    /// covariance of two of them; 0 for fewer than two. A lot may stand there several times: boxes
    /// of one lot have all in common.
    pub fn shared_sd(&self, lots: &[usize]) -> f64 {
        let Some(first) = lots.first().filter(|_| lots.len() > 1) else { return 0.0 };
        let count = lots.len() as f64;
        let mut times = std::collections::BTreeMap::new();
        for lot in lots {
            *times.entry(*lot).or_insert(0.0) += 1.0;
        }
        let level = self.shares.lots[*first].2;
        let (mut weight, mut own) = (DVector::zeros(self.shares.z.nrows()), 0.0);
        // Of boxes of one lot, what is the lot's own counts between them, too.
        let mut alone = 0.0;
        for (lot, times) in &times {
            let (row, rest, _) = &self.shares.lots[*lot];
            weight += row * *times;
            own += rest * times;
            let shared =
                (row.transpose() * &self.shares.z * row)[0] + rest * rest * self.shares.rest[level];
            let variance = self.lots[*lot].sd.powi(2);
            alone += times * times * (variance - shared) - times * variance;
        }
        let shared = (weight.transpose() * &self.shares.z * &weight)[0]
            + own * own * self.shares.rest[level];
        ((shared + alone) / (count * (count - 1.0))).max(0.0).sqrt()
    }
}
