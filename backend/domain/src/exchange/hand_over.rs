//! A hand-over: the physical passing, confirmed by both sides.
//!
//! What may not enter: swap values, which [`super::owed`] settles.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::{Party, Refused, Why};
use crate::words::{Count, UnknownWord, plain, word};

word! {
    /// How a hand-over stands.
    HandOverState {
        /// The giver gave; the taker has not confirmed yet.
        Given = "given", "given";
        /// The taker confirmed count and condition.
        Received = "received", "received";
        /// The two don't agree; the coordinator decides.
        Disputed = "disputed", "disputed";
    }
}

word! {
    /// What may be done to a hand-over.
    HandOverAct {
        /// Count and condition are confirmed.
        ReceiveByTaker = "receive", "received by the taker";
        /// The taker says that something is wrong, before or after confirming.
        DisputeByTaker = "dispute", "disputed by the taker";
        /// The two settle it themselves, or the coordinator decides, on record.
        SettleByCoordinator = "settle", "settled by the coordinator";
    }
}

impl HandOverAct {
    /// Who may.
    pub const fn by(self) -> Party {
        match self {
            Self::ReceiveByTaker | Self::DisputeByTaker => Party::Taker,
            Self::SettleByCoordinator => Party::Coordinator,
        }
    }
}

impl HandOverState {
    /// Where an act leads from here, or why it is refused.
    pub fn after(self, act: HandOverAct) -> Result<Self, Refused> {
        use HandOverAct as A;
        let refuse = |why| Err(Refused::new("hand-over", self, act, why));
        match (self, act) {
            (Self::Given, A::ReceiveByTaker) | (Self::Disputed, A::SettleByCoordinator) => {
                Ok(Self::Received)
            }
            (Self::Given | Self::Received, A::DisputeByTaker) => Ok(Self::Disputed),
            (Self::Received, A::ReceiveByTaker) | (Self::Disputed, A::DisputeByTaker) => {
                refuse(Why::AlreadySo)
            }
            (Self::Disputed, A::ReceiveByTaker) => refuse(Why::InDispute),
            (Self::Given | Self::Received, A::SettleByCoordinator) => refuse(Why::NoDispute),
        }
    }
}

/// What both sides counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct BothCounts {
    /// Units given, by the giver.
    pub given: Count,
    /// Units received, by the taker.
    pub received: Count,
}

impl BothCounts {
    /// Received less given: below 0 where less arrived than was given.
    pub fn difference(self) -> i64 {
        i64::from(self.received) - i64::from(self.given)
    }
}
