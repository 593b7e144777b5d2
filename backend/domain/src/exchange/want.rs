//! A want: published short.
//!
//! What may not enter: matching, which reads open wants.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::{Party, Refused, Why};
use crate::words::{UnknownWord, plain, word};

word! {
    /// How a want stands.
    WantState {
        /// Something is still wanted.
        Open = "open", "open";
        /// Holds or receipts cover all of it.
        Filled = "filled", "filled";
        /// Taken back.
        Withdrawn = "withdrawn", "withdrawn";
    }
}

word! {
    /// What may be done to a want.
    WantAct {
        /// Count, varieties or conditions are changed.
        ChangeByTaker = "change", "changed by the taker";
        /// Taken back; holds that stand are kept.
        WithdrawByTaker = "withdraw", "withdrawn by the taker";
        /// Holds cover all of it.
        FillByHouse = "fill", "filled";
        /// A hold that covered it was cut, released or lapsed: it goes back into matching.
        FreeByHouse = "free", "opened again";
    }
}

impl WantAct {
    /// Who may.
    pub const fn by(self) -> Party {
        match self {
            Self::ChangeByTaker | Self::WithdrawByTaker => Party::Taker,
            Self::FillByHouse | Self::FreeByHouse => Party::House,
        }
    }
}

impl WantState {
    /// Where an act leads from here, or why it is refused.
    pub fn after(self, act: WantAct) -> Result<Self, Refused> {
        use WantAct as A;
        let refuse = |why| Err(Refused::new("want", self, act, why));
        match (self, act) {
            (Self::Open | Self::Filled, A::ChangeByTaker) | (Self::Filled, A::FreeByHouse) => {
                Ok(Self::Open)
            }
            (Self::Open, A::FillByHouse) => Ok(Self::Filled),
            (Self::Open | Self::Filled, A::WithdrawByTaker) => Ok(Self::Withdrawn),
            (Self::Open, A::FreeByHouse)
            | (Self::Filled, A::FillByHouse)
            | (Self::Withdrawn, A::WithdrawByTaker) => refuse(Why::AlreadySo),
            (Self::Withdrawn, _) => refuse(Why::Ended),
        }
    }
}
