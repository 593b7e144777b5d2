//! The owed book: who is owed how much swap value after uneven hand-overs.
//!
//! Each posting is one row from the farm that gave to the farm that took, of a value above 0; a
//! balance is a sum of rows, so all balances sum to zero by construction.
//!
//! What may not enter: how a swap value is found, and money.

use std::collections::BTreeMap;
use std::fmt;

use serde::{Deserialize, Serialize};

use super::hand_over::BothCounts;
use crate::words::{FarmId, HandOverId, Purpose};

/// Swap value in whole tenths of the network's median division.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Tenths(pub i64);

impl fmt::Display for Tenths {
    /// In median divisions, as `2.5` or `-0.3`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.0 < 0 { "-" } else { "" };
        write!(f, "{sign}{}.{}", self.0.unsigned_abs() / 10, self.0.unsigned_abs() % 10)
    }
}

/// A posting that can't be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum PostingError {
    /// Nothing or less.
    #[error("a posting needs a value above 0 (got {0})")]
    NotAboveZero(Tenths),
    /// From a farm to itself.
    #[error("a farm can't owe itself")]
    Itself,
    /// Beyond any exchange.
    #[error("a unit can't be worth more than 100,000.0 median divisions (got {0})")]
    Huge(Tenths),
}

/// One row of the owed book.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Posting {
    from: FarmId,
    to: FarmId,
    value: Tenths,
    hand_over: HandOverId,
}

impl Posting {
    /// `from` gave to `to` what is worth `value`, by a hand-over.
    pub fn new(
        from: FarmId,
        to: FarmId,
        value: Tenths,
        hand_over: HandOverId,
    ) -> Result<Self, PostingError> {
        if from == to {
            return Err(PostingError::Itself);
        }
        if value.0 <= 0 {
            return Err(PostingError::NotAboveZero(value));
        }
        Ok(Self { from, to, value, hand_over })
    }

    /// Who gave, and is owed.
    pub const fn from(&self) -> FarmId {
        self.from
    }

    /// Who took, and owes.
    pub const fn to(&self) -> FarmId {
        self.to
    }

    /// How much, above 0.
    pub const fn value(&self) -> Tenths {
        self.value
    }

    /// By which hand-over.
    pub const fn hand_over(&self) -> HandOverId {
        self.hand_over
    }
}

/// A hand-over that both sides confirmed, as far as the owed book cares.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Settled {
    /// Which.
    pub hand_over: HandOverId,
    /// Who gave.
    pub giver: FarmId,
    /// Who took.
    pub taker: FarmId,
    /// What for.
    pub purpose: Purpose,
    /// What both counted.
    pub counts: BothCounts,
    /// What the two agreed that one unit is worth.
    pub unit_value: Tenths,
}

/// The posting that a confirmed hand-over makes, if it makes one.
///
/// What both counted is what is owed for, at the agreed value: the taker owes nothing for what did
/// not arrive, and a slip at the receipt (50 for 5) makes no debt that nobody can take back. Gifts, sales (money is recorded elsewhere, never handled) and a
/// club's table skip the owed book; so does a hand-over of which nothing arrived, or one agreed at
/// no value. A return is owed like a swap, the other way round.
pub fn settle(settled: &Settled) -> Result<Option<Posting>, PostingError> {
    let owes = matches!(settled.purpose, Purpose::Swap | Purpose::Return);
    let counted_by_both = settled.counts.given.min(settled.counts.received);
    if !owes || counted_by_both.is_zero() || settled.unit_value.0 == 0 {
        return Ok(None);
    }
    if settled.unit_value.0 > 1_000_000 {
        return Err(PostingError::Huge(settled.unit_value));
    }
    // At most 10^6 units of at most 10^6 tenths each.
    let value = Tenths(settled.unit_value.0 * i64::from(counted_by_both));
    Posting::new(settled.giver, settled.taker, value, settled.hand_over).map(Some)
}

/// What each farm is owed (above 0) or owes (below 0). Sums to zero.
pub fn balances<'a>(postings: impl IntoIterator<Item = &'a Posting>) -> BTreeMap<FarmId, Tenths> {
    let mut balances: BTreeMap<FarmId, Tenths> = BTreeMap::new();
    for posting in postings {
        balances.entry(posting.from).or_default().0 += posting.value.0;
        balances.entry(posting.to).or_default().0 -= posting.value.0;
    }
    balances
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::words::uuid_v7;
    use proptest::prelude::*;

    fn farm(number: u8) -> FarmId {
        FarmId::new(uuid_v7(u64::from(number), [number; 10]))
    }

    fn settled(purpose: Purpose, given: u16, received: u16, tenths: i64) -> Settled {
        Settled {
            hand_over: HandOverId::new(uuid_v7(9, [9; 10])),
            giver: farm(1),
            taker: farm(2),
            purpose,
            counts: BothCounts { given: given.into(), received: received.into() },
            unit_value: Tenths(tenths),
        }
    }

    #[test]
    fn eight_of_ten_arrived_and_eight_are_owed_for() {
        let posting = settle(&settled(Purpose::Swap, 10, 8, 15)).unwrap().unwrap();
        assert_eq!(posting.value(), Tenths(120));
        assert_eq!((posting.from(), posting.to()), (farm(1), farm(2)));
        let counts = settled(Purpose::Swap, 10, 8, 15).counts;
        assert_eq!(counts.difference(), -2);
    }

    #[test]
    fn a_slip_at_the_receipt_makes_no_debt_beyond_what_was_given() {
        let posting = settle(&settled(Purpose::Swap, 5, 50, 10)).unwrap().unwrap();
        assert_eq!(posting.value(), Tenths(50));
    }

    #[test]
    fn gifts_and_sales_skip_the_owed_book() {
        for purpose in [Purpose::Gift, Purpose::Sale, Purpose::Club] {
            assert_eq!(settle(&settled(purpose, 10, 10, 15)), Ok(None));
        }
    }

    #[test]
    fn a_parcel_of_which_nothing_arrived_is_owed_nothing_for() {
        assert_eq!(settle(&settled(Purpose::Swap, 10, 0, 15)), Ok(None));
    }

    #[test]
    fn a_value_below_nothing_is_refused() {
        assert_eq!(
            settle(&settled(Purpose::Swap, 1, 1, -5)),
            Err(PostingError::NotAboveZero(Tenths(-5)))
        );
    }

    #[test]
    fn tenths_read_as_median_divisions() {
        assert_eq!(Tenths(25).to_string(), "2.5");
        assert_eq!(Tenths(-3).to_string(), "-0.3");
    }

    proptest! {
        #[test]
        fn the_owed_book_sums_to_zero(
            rows in prop::collection::vec((0_u8..6, 0_u8..6, 1_i64..1_000_000), 0..60),
        ) {
            let hand_over = HandOverId::new(uuid_v7(9, [9; 10]));
            let postings: Vec<Posting> = rows
                .into_iter()
                .filter_map(|(from, to, value)| {
                    Posting::new(farm(from), farm(to), Tenths(value), hand_over).ok()
                })
                .collect();
            let balances = balances(&postings);
            prop_assert_eq!(balances.values().map(|balance| balance.0).sum::<i64>(), 0);
            for (who, balance) in &balances {
                let given: i64 =
                    postings.iter().filter(|p| p.from() == *who).map(|p| p.value().0).sum();
                let taken: i64 =
                    postings.iter().filter(|p| p.to() == *who).map(|p| p.value().0).sum();
                prop_assert_eq!(balance.0, given - taken);
            }
        }
    }
}
