//! What is believed before the farm's own looks, arranged for its lots.

use std::collections::BTreeSet;

use nalgebra::{Cholesky, DMatrix, DVector};

use super::records::Records;
use super::summary::{LossSummary, SpreadSummary};
use crate::fit::{Given, GivenLevel, LossData, LossFit, LossLook, fit};
use crate::forecast::FIRST_SEASON;

/// How the first-season guess is shared out: what all lots of a farm have in common, its varieties, its
/// packings; the rest of its variance is the lot's own.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Split {
    /// Standard deviation of what all lots of the farm have in common.
    pub farm: f64,
    /// Between varieties.
    pub variety: f64,
    /// Between packings.
    pub packing: f64,
}

/// Ours, no source: a lot without looks on a farm without looks keeps the first-season guess whole.
pub const FIRST_SEASON_SPLIT: Split = Split { farm: 0.7, variety: 0.5, packing: 0.3 };

impl Split {
    /// What is left of the first-season guess for the lot itself.
    pub fn lot(&self) -> f64 {
        let taken = self.farm.powi(2) + self.variety.powi(2) + self.packing.powi(2);
        (FIRST_SEASON.sd().powi(2) - taken).max(0.0).sqrt()
    }
}

/// What records must hold before they alone say how lots differ.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Enough {
    /// Lots looked at.
    pub lots: usize,
    /// Units lost.
    pub lost: u64,
    /// Varieties looked at.
    pub varieties: usize,
}

/// Ours, no source: with less, the fit may take lots for alike that are not.
pub const ENOUGH: Enough = Enough { lots: 40, lost: 40, varieties: 5 };

impl Enough {
    /// Whether some farms' records together hold it.
    pub fn is_met_by<'a>(&self, farms: impl Iterator<Item = &'a Records>) -> bool {
        let (mut lots, mut lost, mut varieties) = (0, 0, BTreeSet::new());
        for lot in farms.flat_map(Records::looked_at) {
            lots += 1;
            lost += lot.rows.iter().map(|row| u64::from(row.lost)).sum::<u64>();
            varieties.insert(lot.variety.as_str());
        }
        lots >= self.lots && lost >= self.lost && varieties.len() >= self.varieties
    }
}

/// The groups of every fit here, in this order; the farm is left out where there is one.
const GROUPS: [&str; 3] = ["variety", "packing", "farm"];

/// Which farms' lots a fit is over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Farms {
    /// One farm's: nothing is said of farms.
    One,
    /// Several, or one among several.
    Several,
}

/// The looks of some farms, each lot with its variety and packing, and its farm where there are
/// several. Lots stand in the order of the records.
pub(super) fn looks<'a>(
    farms: impl Iterator<Item = (usize, &'a Records)>,
    over: Farms,
) -> LossData {
    let groups = match over {
        Farms::One => &GROUPS[..2],
        Farms::Several => &GROUPS[..],
    };
    let mut data = LossData::new(groups.iter().map(|group| (*group).to_owned()).collect());
    for (farm, records) in farms {
        let farm_label = farm.to_string();
        for (at, lot) in records.lots.iter().enumerate() {
            let labels = [lot.variety.as_str(), lot.packing.as_str(), farm_label.as_str()];
            let name = format!("{farm}/{at}");
            let known = LossLook { days: 0, inspected: 0, lost: 0 };
            let of_rows = lot.rows.iter().map(|row| LossLook {
                days: row.days,
                inspected: row.inspected,
                lost: row.lost,
            });
            for look in std::iter::once(known).chain(of_rows) {
                // Records hold rows that tell something, and each name stands under one label of
                // each group: no look is refused.
                let _ = data.add(&name, &labels[..groups.len()], look);
            }
        }
    }
    data
}

/// The spreads that a fit found.
pub(super) fn spread_of(fitted: &LossFit) -> SpreadSummary {
    let of = |group: usize| fitted.group_sd.get(group).copied().unwrap_or(0.0);
    SpreadSummary { variety: of(0), packing: of(1), farm: of(2), lot: fitted.lot_sd }
}

/// By how much the lots of one farm differ, where its records are many enough to say.
pub(super) fn own_spread(records: &Records) -> Option<SpreadSummary> {
    if !ENOUGH.is_met_by(std::iter::once(records)) {
        return None;
    }
    let data = looks(std::iter::once((0, records)), Farms::One);
    fit(&data).ok().filter(|fitted| fitted.degenerate.is_none()).map(|fitted| spread_of(&fitted))
}

/// μ as wide as makes no difference: nothing is believed of it before the looks.
const UNKNOWN: f64 = 10.0;

/// The first-season guess, shared out.
pub(super) fn first_season(data: &LossData) -> Given {
    let spread = SpreadSummary {
        variety: FIRST_SEASON_SPLIT.variety,
        packing: FIRST_SEASON_SPLIT.packing,
        farm: 0.0,
        lot: FIRST_SEASON_SPLIT.lot(),
    };
    apart(data, FIRST_SEASON_SPLIT.farm, spread)
}

/// Known spreads and an unknown μ.
pub(super) fn from_spread(data: &LossData, spread: SpreadSummary) -> Given {
    apart(data, UNKNOWN, spread)
}

/// Effects that know nothing of one another.
fn apart(data: &LossData, typical: f64, spread: SpreadSummary) -> Given {
    let mut sds = vec![typical];
    let mut columns = Vec::new();
    for (group, sd) in [(1, spread.packing), (2, spread.farm)] {
        if group < data.groups().len() {
            let levels = data.labels(group).len();
            columns.push((sds.len()..sds.len() + levels).collect());
            sds.extend(std::iter::repeat_n(sd, levels));
        }
    }
    let mut mean = vec![0.0; sds.len()];
    mean[0] = FIRST_SEASON.mean();
    let level = GivenLevel { sd: spread.variety, ..GivenLevel::default() };
    Given {
        mean,
        root: DMatrix::from_diagonal(&DVector::from_vec(sds)),
        columns,
        levels: vec![level; data.labels(0).len().max(1)],
        lot_sd: spread.lot,
    }
}

/// What the others of a network saw, for the lots of one farm among several.
///
/// `None` if its covariance is none, which only damage brings about.
pub(super) fn from_network(data: &LossData, network: &LossSummary) -> Option<Given> {
    let packings = data.labels(1);
    let told = |packing: &String| network.packings.iter().position(|one| one.packing == *packing);
    // Of the network's columns, those that this farm's lots meet; the others average out.
    let kept: Vec<usize> =
        std::iter::once(0).chain(packings.iter().filter_map(told).map(|at| at + 1)).collect();
    let of_kept = DMatrix::from_fn(kept.len(), kept.len(), |row, column| {
        // An effect that is exactly 0 has no variance, and still has a place.
        let floor = if row == column { 1e-12 } else { 0.0 };
        network.covariance[kept[row]][kept[column]] + floor
    });
    let root_of_kept = Cholesky::new(of_kept)?.l();
    let mut sds = Vec::new();
    let mut columns = Vec::new();
    for packing in packings {
        let known = told(packing).and_then(|at| kept.iter().position(|one| *one == at + 1));
        columns.push(known.unwrap_or(kept.len() + sds.len()));
        if known.is_none() {
            sds.push(network.spread.packing);
        }
    }
    let farm = kept.len() + sds.len();
    sds.push(network.spread.farm);
    let size = kept.len() + sds.len();
    let root = DMatrix::from_fn(size, size, |row, column| {
        if row < kept.len() && column < kept.len() {
            root_of_kept[(row, column)]
        } else if row == column {
            sds[row - kept.len()]
        } else {
            0.0
        }
    });
    let mut mean = vec![0.0; size];
    mean[0] = network.typical;
    for (at, one) in kept.iter().enumerate().skip(1) {
        mean[at] = network.packings[one - 1].effect;
    }
    let levels = data.labels(0).iter().map(|variety| {
        let told = network.varieties.iter().find(|one| one.variety == *variety);
        let Some(told) = told else {
            return Some(GivenLevel { sd: network.spread.variety, ..GivenLevel::default() });
        };
        let with = DVector::from_iterator(kept.len(), kept.iter().map(|at| told.with[*at]));
        let lean = root_of_kept.solve_lower_triangular(&with)?;
        let rest = (told.sd.powi(2) - lean.norm_squared()).max(0.0).sqrt();
        Some(GivenLevel { mean: told.effect, lean: lean.iter().copied().collect(), sd: rest })
    });
    let mut levels: Vec<GivenLevel> = levels.collect::<Option<_>>()?;
    if levels.is_empty() {
        levels.push(GivenLevel::default());
    }
    let farms = vec![farm; data.labels(2).len()];
    Some(Given { mean, root, columns: vec![columns, farms], levels, lot_sd: network.spread.lot })
}
