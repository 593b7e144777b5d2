//! An offer: published spare.
//!
//! What may not enter: how many are left of it, which is arithmetic over its holds.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::{Party, Refused, Why};
use crate::words::{UnknownWord, plain, word};

word! {
    /// How an offer stands.
    OfferState {
        /// Holds may be asked for.
        Open = "open", "open";
        /// Taken back by the giver.
        Withdrawn = "withdrawn", "withdrawn";
        /// All gone, or the season is over.
        Closed = "closed", "closed";
        /// A notice touches its lot: no new holds.
        SetAside = "set-aside", "set aside";
    }
}

word! {
    /// What may be done to an offer.
    OfferAct {
        /// A hold is asked for.
        AskHoldByTaker = "ask-hold", "held by the taker";
        /// Count, parcel or conditions are changed.
        ChangeByGiver = "change", "changed by the giver";
        /// Taken back; holds that stand are kept.
        WithdrawByGiver = "withdraw", "withdrawn by the giver";
        /// All of it is gone, or the season ended.
        CloseByHouse = "close", "closed";
        /// A notice touches its lot.
        SetAsideByHouse = "set-aside", "set aside";
        /// The notice was withdrawn.
        ReopenByHouse = "reopen", "opened again";
    }
}

impl OfferAct {
    /// Who may.
    pub const fn by(self) -> Party {
        match self {
            Self::AskHoldByTaker => Party::Taker,
            Self::ChangeByGiver | Self::WithdrawByGiver => Party::Giver,
            Self::CloseByHouse | Self::SetAsideByHouse | Self::ReopenByHouse => Party::House,
        }
    }
}

impl OfferState {
    /// Where an act leads from here, or why it is refused.
    ///
    /// ```
    /// use spareloop_domain::exchange::{OfferAct, OfferState};
    /// assert_eq!(OfferState::Open.after(OfferAct::WithdrawByGiver), Ok(OfferState::Withdrawn));
    /// assert!(OfferState::Withdrawn.after(OfferAct::AskHoldByTaker).is_err());
    /// ```
    pub fn after(self, act: OfferAct) -> Result<Self, Refused> {
        use OfferAct as A;
        let refuse = |why| Err(Refused::new("offer", self, act, why));
        match (self, act) {
            (Self::Open, A::AskHoldByTaker | A::ChangeByGiver)
            | (Self::SetAside, A::ReopenByHouse) => Ok(Self::Open),
            (Self::Open | Self::SetAside, A::WithdrawByGiver) => Ok(Self::Withdrawn),
            (Self::Open | Self::SetAside, A::CloseByHouse) => Ok(Self::Closed),
            (Self::Open, A::SetAsideByHouse) => Ok(Self::SetAside),
            (Self::Open, A::ReopenByHouse) => refuse(Why::NoNotice),
            (Self::SetAside, A::AskHoldByTaker | A::ChangeByGiver) => refuse(Why::UnderNotice),
            (Self::SetAside, A::SetAsideByHouse)
            | (Self::Withdrawn, A::WithdrawByGiver)
            | (Self::Closed, A::CloseByHouse) => refuse(Why::AlreadySo),
            (Self::Withdrawn | Self::Closed, _) => refuse(Why::Ended),
        }
    }
}
