//! How far from even a farm may get: the limit that the coordinator sets.
//!
//! What may not enter: who set it, and rows.

use serde::{Deserialize, Serialize};

use super::owed::Tenths;

/// How much a farm may be owed, or owe, in tenths: from 0 to 100,000.0 median divisions.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "i64", into = "i64")]
pub struct Limit(i64);

/// A number that is no limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a limit is from 0 to 100,000.0 median divisions (got {0})")]
pub struct LimitError(Tenths);

impl TryFrom<i64> for Limit {
    type Error = LimitError;
    fn try_from(tenths: i64) -> Result<Self, LimitError> {
        if (0..=1_000_000).contains(&tenths) {
            Ok(Self(tenths))
        } else {
            Err(LimitError(Tenths(tenths)))
        }
    }
}

impl From<Limit> for i64 {
    fn from(limit: Limit) -> Self {
        limit.0
    }
}

impl Limit {
    /// In tenths.
    pub const fn tenths(self) -> Tenths {
        Tenths(self.0)
    }
}

/// How a farm stands to its network, and how it will once everything promised has passed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Standing {
    /// Postings, and what was handed over and is not confirmed yet: above 0 is owed to the farm.
    pub booked: Tenths,
    /// What living holds will add once they are handed over: given less received.
    pub promised: Tenths,
}

/// A farm would get too far from even.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum BeyondLimit {
    /// It would be owed more than it may be.
    #[error("the giver would be owed {would} with all that is promised, and its limit is {limit}")]
    Owed {
        /// What it would be owed.
        would: Tenths,
        /// What it may be.
        limit: Tenths,
    },
    /// It would owe more than it may.
    #[error("the taker would owe {would} with all that is promised, and its limit is {limit}")]
    Owing {
        /// What it would owe.
        would: Tenths,
        /// What it may.
        limit: Tenths,
    },
}

impl Standing {
    /// Where it ends once everything promised has passed.
    pub const fn ends(self) -> Tenths {
        Tenths(self.booked.0.saturating_add(self.promised.0))
    }

    /// The same with more promised: above 0 for what the farm gives, below 0 for what it gets.
    #[must_use]
    pub const fn with(self, tenths: Tenths) -> Self {
        Self { promised: Tenths(self.promised.0.saturating_add(tenths.0)), ..self }
    }

    /// Whether a farm may stand so. One that is beyond its limit already, since the limit was
    /// lowered, may stay where it is and come nearer, as in a round.
    ///
    /// # Errors
    /// By how much it would be owed, or owe, too much.
    pub fn within(self, limit: Limit) -> Result<(), BeyondLimit> {
        let (ends, most) = (self.ends().0, limit.0);
        if ends > self.booked.0.max(most) {
            return Err(BeyondLimit::Owed { would: Tenths(ends), limit: limit.tenths() });
        }
        if ends < self.booked.0.min(-most) {
            let would = Tenths(ends.saturating_neg());
            return Err(BeyondLimit::Owing { would, limit: limit.tenths() });
        }
        Ok(())
    }
}

impl Standing {
    /// Whether a farm with that limit may take on `more` (above 0 for what it gives): what leaves it no
    /// further from even on the side where it stands is always allowed.
    ///
    /// # Errors
    /// By how much it would be owed, or owe, too much.
    pub fn takes_on(self, more: Tenths, limit: Limit) -> Result<(), BeyondLimit> {
        let after = self.with(more);
        let (was, is) = (self.ends().0, after.ends().0);
        let no_further = is.abs() <= was.abs() && is.signum() * was.signum() >= 0;
        if no_further { Ok(()) } else { after.within(limit) }
    }

    /// Whether something that is promised already may change hands: it must leave the farm within its
    /// limit by itself, or once all that is promised has passed, as in a loop whose parcels even out.
    ///
    /// # Errors
    /// By how much it would be owed, or owe, too much.
    pub fn lets_pass(self, value: Tenths, limit: Limit) -> Result<(), BeyondLimit> {
        let alone = Self { promised: value, ..self };
        alone.within(limit).or_else(|beyond| self.within(limit).map_err(|_| beyond))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use proptest::prelude::*;

    use super::*;

    fn standing(booked: i64, promised: i64) -> Standing {
        Standing { booked: Tenths(booked), promised: Tenths(promised) }
    }

    #[test]
    fn a_farm_may_be_owed_and_owe_up_to_its_limit_and_not_a_tenth_more() {
        let limit = Limit::try_from(100).unwrap();
        assert_eq!(standing(40, 60).within(limit), Ok(()));
        let beyond = standing(40, 61).within(limit);
        assert_eq!(beyond, Err(BeyondLimit::Owed { would: Tenths(101), limit: Tenths(100) }));
        let beyond = standing(-40, -61).within(limit);
        assert_eq!(beyond, Err(BeyondLimit::Owing { would: Tenths(101), limit: Tenths(100) }));
    }

    #[test]
    fn an_even_swap_is_never_beyond_however_tight_the_limit() {
        assert_eq!(standing(0, 0).with(Tenths(140)).with(Tenths(-140)).within(Limit(0)), Ok(()));
        assert_eq!(standing(250, 0).with(Tenths(14)).with(Tenths(-14)).within(Limit(100)), Ok(()));
    }

    #[test]
    fn a_farm_beyond_its_limit_may_come_nearer_and_not_cross_to_the_other_side() {
        let limit = Limit::try_from(100).unwrap();
        let far = standing(250, 0);
        assert_eq!(far.takes_on(Tenths(-200), limit), Ok(()));
        assert_eq!(far.takes_on(Tenths(0), limit), Ok(()));
        assert!(far.takes_on(Tenths(1), limit).is_err());
        assert!(far.takes_on(Tenths(-360), limit).is_err(), "it would owe 110 then");
    }

    #[test]
    fn a_parcel_of_a_loop_passes_although_by_itself_it_would_be_too_much() {
        let limit = Limit::try_from(50).unwrap();
        // It gives 80 and gets 80: even once both have passed.
        assert_eq!(standing(0, 0).lets_pass(Tenths(80), limit), Ok(()));
        let beyond = standing(0, 80).lets_pass(Tenths(80), limit);
        assert_eq!(beyond, Err(BeyondLimit::Owed { would: Tenths(80), limit: Tenths(50) }));
    }

    proptest! {
        #[test]
        fn what_a_round_allows_is_allowed_here(
            booked in -300_i64..300, promised in -300_i64..300, most in 0_i64..200, more in -600_i64..600,
        ) {
            let limit = Limit::try_from(most).unwrap();
            let before = standing(booked, promised);
            prop_assume!(before.within(limit).is_ok());
            let owed = before.ends().0;
            // The rule of a round over a farm's owed + given - received.
            let ends = owed + more;
            if ends >= owed.min(-most) && ends <= owed.max(most) {
                prop_assert_eq!(before.with(Tenths(more)).within(limit), Ok(()));
            }
        }
    }
}
