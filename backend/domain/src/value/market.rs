//! Everything a network offers and wants, as an assignment game (Shapley and Shubik 1971).
//!
//! Units of a variety are alike and stand together with a count, and so do those of a want. What
//! may not enter: farms, distances and conditions; those narrow a round, not a value.

use std::collections::BTreeSet;

use super::{Multiplication, rebuild_values};

/// How well a variety suits a want: any number above 0; 1 for what was hoped for.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Worth(f64);

/// A number that is no worth.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("a worth must be above 0 (got {0})")]
pub struct WorthError(f64);

impl Worth {
    /// Checks a number.
    pub fn new(worth: f64) -> Result<Self, WorthError> {
        if worth > 0.0 && worth.is_finite() { Ok(Self(worth)) } else { Err(WorthError(worth)) }
    }

    /// The plain number.
    pub const fn get(self) -> f64 {
        self.0
    }
}

/// One variety that a want accepts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Accepted {
    /// Its place among the varieties of the market.
    pub variety: usize,
    /// How well it suits.
    pub worth: Worth,
}

/// Units wanted by one farm, of one of several varieties; the first is the first choice.
#[derive(Debug, Clone, PartialEq)]
pub struct Want {
    /// Units.
    pub count: u32,
    /// What would do.
    pub accepts: Vec<Accepted>,
}

/// What an unasked unit is worth to its owner, and a unit of the first choice to a want, both as
/// multiples of the variety's rebuild value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shares {
    reserve: f64,
    want: f64,
}

/// A share that can't be.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum SharesError {
    /// The owner's.
    #[error("what a unit is worth to its owner must be from 0 to 1,000,000 (got {0})")]
    Reserve(f64),
    /// The want's.
    #[error("what a unit is worth to a want must be from 0 to 1,000,000 (got {0})")]
    Want(f64),
}

impl Shares {
    /// Checks both.
    pub fn new(reserve: f64, want: f64) -> Result<Self, SharesError> {
        let within = 0.0..=1e6;
        if !within.contains(&reserve) {
            return Err(SharesError::Reserve(reserve));
        }
        if !within.contains(&want) {
            return Err(SharesError::Want(want));
        }
        Ok(Self { reserve, want })
    }
}

impl Default for Shares {
    /// Half and one and a half (ours).
    fn default() -> Self {
        Self { reserve: 0.5, want: 1.5 }
    }
}

/// Why a market can't be. Wants and their accepted varieties are named by their places.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum MarketError {
    /// A want without any variety.
    #[error("a want accepts at least one variety")]
    AcceptsNothing {
        /// Which want.
        want: usize,
    },
    /// A variety that isn't there.
    #[error("this variety is not among the varieties")]
    UnknownVariety {
        /// Which want.
        want: usize,
        /// Which of what it accepts.
        place: usize,
    },
    /// One variety at two worths.
    #[error("this want accepts the same variety twice")]
    AcceptedTwice {
        /// Which want.
        want: usize,
        /// Which of what it accepts.
        place: usize,
    },
    /// Beyond what can be reckoned with.
    #[error("this worth is too large to reckon with")]
    WorthTooLarge {
        /// Which want.
        want: usize,
        /// Which of what it accepts.
        place: usize,
    },
}

/// Varieties, wants and shares; what is offered comes as a [`Draw`].
#[derive(Debug, Clone, PartialEq)]
pub struct Market {
    rebuild: Vec<f64>,
    wants: Vec<Want>,
    shares: Shares,
}

impl Market {
    /// Checks that every want accepts something, each once, and only what is there.
    pub fn new(
        varieties: &[Multiplication],
        wants: Vec<Want>,
        shares: Shares,
    ) -> Result<Self, MarketError> {
        let market = Self { rebuild: rebuild_values(varieties), wants, shares };
        for (want, one) in market.wants.iter().enumerate() {
            if one.accepts.is_empty() {
                return Err(MarketError::AcceptsNothing { want });
            }
            let mut seen = BTreeSet::new();
            for (place, accepted) in one.accepts.iter().enumerate() {
                if accepted.variety >= varieties.len() {
                    return Err(MarketError::UnknownVariety { want, place });
                }
                if !seen.insert(accepted.variety) {
                    return Err(MarketError::AcceptedTwice { want, place });
                }
                if !market.worth_to(one, *accepted).is_finite() {
                    return Err(MarketError::WorthTooLarge { want, place });
                }
            }
        }
        Ok(market)
    }

    /// Rebuild values, in the order of the varieties.
    pub fn rebuild(&self) -> &[f64] {
        &self.rebuild
    }

    /// Wants, in their order.
    pub fn wants(&self) -> &[Want] {
        &self.wants
    }

    /// What a unit that nobody takes is worth to its owner.
    pub fn reserve(&self, variety: usize) -> f64 {
        self.shares.reserve * self.rebuild[variety]
    }

    /// What a unit is worth to a want of this market.
    pub fn worth_to(&self, want: &Want, accepted: Accepted) -> f64 {
        // A want of a market accepts at least one.
        let first = want.accepts.first().map_or(0.0, |first| self.rebuild[first.variety]);
        self.shares.want * first * accepted.worth.get()
    }

    /// The greatest worth of a unit of each variety to any want that stands and accepts it.
    pub(super) fn greatest_worths(&self, draw: &Draw) -> Vec<f64> {
        let mut greatest = vec![f64::NEG_INFINITY; self.rebuild.len()];
        for (_, want) in draw.standing(&self.wants) {
            for accepted in &want.accepts {
                let so_far = &mut greatest[accepted.variety];
                *so_far = so_far.max(self.worth_to(want, *accepted));
            }
        }
        greatest
    }
}

/// One way that things may stand: what is offered, and which wants have lapsed.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Draw {
    supply: Vec<u64>,
    lapsed: BTreeSet<usize>,
}

impl Draw {
    /// So many units of each variety, in their order (none of those beyond the end); every want
    /// stands.
    pub fn new(supply: Vec<u64>) -> Self {
        Self { supply, lapsed: BTreeSet::new() }
    }

    /// The same, with some wants lapsed.
    #[must_use]
    pub fn with_lapsed(mut self, wants: impl IntoIterator<Item = usize>) -> Self {
        self.lapsed.extend(wants);
        self
    }

    /// Units offered of a variety.
    pub fn supply(&self, variety: usize) -> u64 {
        self.supply.get(variety).copied().unwrap_or(0)
    }

    /// Wants that stand, each with its place.
    pub fn standing<'a>(&self, wants: &'a [Want]) -> impl Iterator<Item = (usize, &'a Want)> {
        wants.iter().enumerate().filter(|(at, _)| !self.lapsed.contains(at))
    }
}
