//! Lots of one variety, which have something in common.
//!
//! One draw, Normal(0, shared sd), is added to every lot's log rate; given that, lots are
//! independent. Taking them for independent outright makes the likely range far too narrow. What
//! may not enter: plans, and whether what survives comes up.

use super::hazard::{self, LogHazard, MOST_INFORMATION, SeenGroup, Shifting};
use super::{ForecastError, Survivors, affordable};
use crate::chance::{Distribution, NormalGrid, Tail};

/// One lot of the variety, as last seen.
#[derive(Debug, Clone, PartialEq)]
pub struct LotInStore {
    /// Its units by days from last seen alive to planting; the last group is taken first.
    pub groups: Vec<SeenGroup>,
    /// What is believed of its own rate.
    pub hazard: LogHazard,
}

/// Survivors of several lots together; `shared_sd` (0 to 20) is the sd of what their log rates
/// have in common.
///
/// ```
/// use spareloop_domain::forecast::{FIRST_SEASON, LotInStore, SeenGroup, survivors_of_all};
/// let lot = LotInStore { groups: vec![SeenGroup { count: 20, days: 90 }], hazard: FIRST_SEASON };
/// let apart = survivors_of_all(&[lot.clone(), lot.clone()], 0.0)?;
/// let alike = survivors_of_all(&[lot.clone(), lot], 1.0)?;
/// assert!(alike.p90 - alike.p10 > apart.p90 - apart.p10);
/// # Ok::<(), spareloop_domain::forecast::ForecastError>(())
/// ```
pub fn survivors_of_all(lots: &[LotInStore], shared_sd: f64) -> Result<Survivors, ForecastError> {
    let together = Together::new(lots, shared_sd);
    affordable(together.work())?;
    Ok(Survivors::with_mean(together.expected(), together.all()))
}

/// The lots that hold anything, with what they share.
pub(super) struct Together {
    pub(super) lots: Vec<LotInStore>,
    pub(super) shared_sd: f64,
}

pub(super) fn count(groups: &[SeenGroup]) -> u32 {
    groups.iter().map(|group| group.count).sum()
}

impl Together {
    pub(super) fn new(lots: &[LotInStore], shared_sd: f64) -> Self {
        let lots: Vec<_> = lots.iter().filter(|lot| count(&lot.groups) > 0).cloned().collect();
        Self { lots, shared_sd }.simplified()
    }

    /// One lot shares with nobody: both spreads are one.
    pub(super) fn simplified(mut self) -> Self {
        if let [only] = self.lots.as_mut_slice() {
            only.hazard = only.hazard.widened(self.shared_sd);
            self.shared_sd = 0.0;
        }
        self
    }

    pub(super) fn total(&self) -> usize {
        self.lots.iter().map(|lot| count(&lot.groups) as usize).sum()
    }

    /// Units expected to survive.
    pub(super) fn expected(&self) -> f64 {
        let of_lot = |lot: &LotInStore| lot.hazard.widened(self.shared_sd).expected(&lot.groups);
        self.lots.iter().fold(0.0, |sum, lot| sum + of_lot(lot))
    }

    /// What all lots together can tell about what they share: each one's own spread blurs it.
    pub(super) fn shared_information(&self) -> f64 {
        let of_lot = |lot: &LotInStore| {
            let counts = 1.0 / (MOST_INFORMATION * f64::from(count(&lot.groups)));
            1.0 / (counts + lot.hazard.sd().powi(2))
        };
        self.lots.iter().map(of_lot).sum()
    }

    pub(super) fn shared_grid(&self) -> NormalGrid {
        hazard::grid_for(self.shared_sd, self.shared_information())
    }

    /// Survivors of a lot by what is shared.
    pub(super) fn survivors<'a>(&self, lot: &'a LotInStore) -> Shifting<'a> {
        Shifting::new(&lot.groups, lot.hazard, NormalGrid::REACH * self.shared_sd)
    }

    /// Multiplications, within a small factor, to convolve all lots once for each shared node.
    pub(super) fn work(&self) -> f64 {
        let (mut once, mut before) = (0.0, 1.0);
        for lot in &self.lots {
            let units = f64::from(count(&lot.groups));
            once += hazard::work(&lot.groups, lot.hazard, Tail::Cut) + before * units;
            before += units;
        }
        once * self.shared_nodes()
    }

    /// How many shared nodes there are.
    pub(super) fn shared_nodes(&self) -> f64 {
        hazard::grid_size(self.shared_sd, self.shared_information())
    }

    /// Survivors of all lots.
    fn all(&self) -> Distribution {
        let mut all = vec![0.0; self.total() + 1];
        let lots: Vec<_> = self.lots.iter().map(|lot| self.survivors(lot)).collect();
        for (z, weight) in self.shared_grid().nodes {
            let sum = lots.iter().fold(Distribution::certain(0), |sum, lot| {
                sum.convolve(&lot.by(self.shared_sd * z), Tail::Cut)
            });
            sum.add_to(&mut all, weight);
        }
        Distribution::from_chances(all)
    }
}
