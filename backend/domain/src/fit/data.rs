//! Looks arranged for the fit: lot by lot, every lot with its level of each group.

use std::collections::HashMap;

use statrs::function::factorial::ln_binomial;

use super::look::{Look, Looks};

/// Looks at lots, each lot with a label of every group (its variety, its packing, its farm).
///
/// ```
/// use spareloop_domain::fit::{LossData, LossLook};
/// let mut data = LossData::new(vec!["variety".to_owned()]);
/// let look = LossLook { days: 14, inspected: 40, lost: 2 };
/// data.add("a1", &["Zindle Ember"], look)?;
/// assert!(data.add("a1", &["Mottle Tam"], look).is_err());
/// # Ok::<(), spareloop_domain::fit::LossDataError>(())
/// ```
#[derive(Debug, Clone, Default)]
pub struct LossData {
    arms: Group,
    groups: Vec<Group>,
    lots: Vec<Lot>,
    lot_at: HashMap<String, usize>,
}

#[derive(Debug, Clone, Default)]
struct Group {
    name: String,
    labels: Vec<String>,
    label_at: HashMap<String, u32>,
}

#[derive(Debug, Clone)]
struct Lot {
    name: String,
    arm: u32,
    levels: Vec<u32>,
    looks: Vec<LossLook>,
}

/// A look at units that were last seen alive on one day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LossLook {
    /// Days since then.
    pub days: u32,
    /// Units looked at.
    pub inspected: u32,
    /// Of these, lost to decay since then.
    pub lost: u32,
}

/// Why a look can't enter the fit.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LossDataError {
    /// More were lost than looked at.
    #[error("{lost} lost of {inspected} inspected")]
    MoreLostThanInspected {
        /// Lost.
        lost: u32,
        /// Inspected.
        inspected: u32,
    },
    /// Something was lost within no time.
    #[error("{lost} lost within 0 days: give the days since those units were last seen alive")]
    LostWithinNoTime {
        /// Lost.
        lost: u32,
    },
    /// A lot has one variety, one packing, one farm.
    #[error("lot {lot} has two labels of the group {group}: {first} and {second}")]
    TwoLabels {
        /// Which lot.
        lot: String,
        /// Of which group.
        group: String,
        /// The one seen first.
        first: String,
        /// The other.
        second: String,
    },
}

impl LossData {
    /// No looks yet; the groups' names, as `variety`.
    pub fn new(groups: Vec<String>) -> Self {
        Self::comparing(String::new(), groups)
    }

    /// No looks yet, at lots in arms that are to be compared, as those of one packing and those of
    /// another: each arm has its own μ.
    pub fn comparing(arms: String, groups: Vec<String>) -> Self {
        let group = |name| Group { name, ..Group::default() };
        Self {
            arms: group(arms),
            groups: groups.into_iter().map(group).collect(),
            ..Self::default()
        }
    }

    /// Adds a look at a lot; `labels` in the order of the groups.
    ///
    /// A look at nothing, or after 0 days with nothing lost, tells nothing; its lot is known all
    /// the same.
    pub fn add(&mut self, lot: &str, labels: &[&str], look: LossLook) -> Result<(), LossDataError> {
        self.add_to("", lot, labels, look)
    }

    /// Adds a look at a lot of an arm.
    pub fn add_to(
        &mut self,
        arm: &str,
        lot: &str,
        labels: &[&str],
        look: LossLook,
    ) -> Result<(), LossDataError> {
        let LossLook { days, inspected, lost } = look;
        if lost > inspected {
            return Err(LossDataError::MoreLostThanInspected { lost, inspected });
        }
        if days == 0 && lost > 0 {
            return Err(LossDataError::LostWithinNoTime { lost });
        }
        let at = self.lot(arm, lot, labels)?;
        if inspected > 0 && days > 0 {
            self.lots[at].looks.push(look);
        }
        Ok(())
    }

    fn lot(&mut self, arm: &str, name: &str, labels: &[&str]) -> Result<usize, LossDataError> {
        if let Some(at) = self.lot_at.get(name) {
            self.same_labels(&self.lots[*at], arm, labels)?;
            return Ok(*at);
        }
        let arm = self.arms.level(arm);
        let levels =
            self.groups.iter_mut().zip(labels).map(|(group, label)| group.level(label)).collect();
        let at = self.lots.len();
        self.lots.push(Lot { name: name.to_owned(), arm, levels, looks: Vec::new() });
        self.lot_at.insert(name.to_owned(), at);
        Ok(at)
    }

    fn same_labels(&self, lot: &Lot, arm: &str, labels: &[&str]) -> Result<(), LossDataError> {
        let in_groups = self.groups.iter().zip(&lot.levels).zip(labels);
        let mut all = in_groups.chain([((&self.arms, &lot.arm), &arm)]);
        let other = all.find(|((group, level), label)| group.labels[**level as usize] != ***label);
        match other {
            None => Ok(()),
            Some(((group, level), label)) => Err(LossDataError::TwoLabels {
                lot: lot.name.clone(),
                group: group.name.clone(),
                first: group.labels[*level as usize].clone(),
                second: (*label).to_owned(),
            }),
        }
    }

    /// The groups' names.
    pub fn groups(&self) -> impl ExactSizeIterator<Item = &str> {
        self.groups.iter().map(|group| group.name.as_str())
    }

    /// The labels of a group, in the order of their first look.
    pub fn labels(&self, group: usize) -> &[String] {
        self.groups.get(group).map_or(&[], |group| &group.labels)
    }

    /// The lots' names, in the order of their first look.
    pub fn lots(&self) -> impl ExactSizeIterator<Item = &str> {
        self.lots.iter().map(|lot| lot.name.as_str())
    }

    /// The looks at a lot that tell something.
    pub fn looks(&self, lot: usize) -> &[LossLook] {
        self.lots.get(lot).map_or(&[], |lot| &lot.looks)
    }

    /// The level of a lot in each group.
    pub fn levels(&self, lot: usize) -> &[u32] {
        self.lots.get(lot).map_or(&[], |lot| &lot.levels)
    }

    /// The arms, in the order of their first look.
    pub fn arms(&self) -> &[String] {
        &self.arms.labels
    }

    /// The arm of a lot.
    pub fn arm(&self, lot: usize) -> u32 {
        self.lots.get(lot).map_or(0, |lot| lot.arm)
    }

    /// Units lost and units looked at, over all looks.
    pub fn totals(&self) -> (u64, u64) {
        let looks = self.lots.iter().flat_map(|lot| &lot.looks);
        looks.fold((0, 0), |(lost, inspected), look| {
            (lost + u64::from(look.lost), inspected + u64::from(look.inspected))
        })
    }
}

impl Group {
    fn level(&mut self, label: &str) -> u32 {
        if let Some(at) = self.label_at.get(label) {
            return *at;
        }
        // A level a lot, and lots are counted in memory: far fewer than 2³².
        let at = u32::try_from(self.labels.len()).unwrap_or(u32::MAX);
        self.labels.push(label.to_owned());
        self.label_at.insert(label.to_owned(), at);
        at
    }
}

/// The same looks, as flat as the fit wants them.
#[derive(Debug, Clone)]
pub(super) struct Flat {
    looks: Vec<Look>,
    lots: Vec<FlatLot>,
    /// The log of all binomial coefficients.
    pub(super) constant: f64,
}

#[derive(Debug, Clone, Copy)]
struct FlatLot {
    first: usize,
    end: usize,
    with_losses: usize,
    kept_days: f64,
}

impl Flat {
    pub(super) fn of(data: &LossData) -> Self {
        let mut flat = Self { looks: Vec::new(), lots: Vec::new(), constant: 0.0 };
        for lot in &data.lots {
            let first = flat.looks.len();
            let (with, without): (Vec<&LossLook>, Vec<&LossLook>) =
                lot.looks.iter().partition(|look| look.lost > 0);
            for look in with.iter().chain(&without) {
                let (days, lost) = (f64::from(look.days), f64::from(look.lost));
                flat.looks.push(Look { days, lost, kept: f64::from(look.inspected) - lost });
                flat.constant += ln_binomial(u64::from(look.inspected), u64::from(look.lost));
            }
            let kept_days = flat.looks[first..].iter().map(|look| look.days * look.kept).sum();
            let end = flat.looks.len();
            flat.lots.push(FlatLot { first, end, with_losses: with.len(), kept_days });
        }
        flat
    }

    pub(super) fn lots(&self) -> usize {
        self.lots.len()
    }

    pub(super) fn of_lot(&self, lot: usize) -> Looks<'_> {
        let FlatLot { first, end, with_losses, kept_days } = self.lots[lot];
        Looks { all: &self.looks[first..end], with_losses, kept_days }
    }

    /// The log of losses over unit-days of each arm: where the search for its μ begins.
    pub(super) fn crude_log_hazards(&self, data: &LossData) -> Vec<f64> {
        let mut sums = vec![(0.0, 0.0); data.arms().len()];
        for lot in 0..self.lots() {
            let sum = &mut sums[data.arm(lot) as usize];
            for look in self.of_lot(lot).all {
                sum.0 += look.lost;
                // What was lost lived half of the days, give or take.
                sum.1 += look.days * (look.kept + 0.5 * look.lost);
            }
        }
        sums.into_iter()
            .map(|(lost, days)| (f64::max(lost, 0.5) / f64::max(days, 1.0)).ln())
            .collect()
    }
}
