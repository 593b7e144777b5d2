//! A hold: a promise of a count until a time.
//!
//! A two-step transfer: made once, then agreed, released or lapsed exactly once. A held promise
//! lapses at its time; an agreed one stands until it is handed over, released or cut.
//!
//! What may not enter: the time itself. Whether `until` has passed is asked by
//! [`HoldState::counts_at`], and the job that writes the lapse down only records what is so.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::{Moment, Party, Refused, Why};
use crate::words::{UnknownWord, plain, word};

word! {
    /// How a hold stands.
    HoldState {
        /// Asked for and kept back until its time.
        Held = "held", "held";
        /// The giver agreed.
        Agreed = "agreed", "agreed";
        /// The stock has left the giver.
        HandedOver = "handed-over", "handed over";
        /// The taker confirmed count and condition.
        Received = "received", "received";
        /// Given up by one side.
        Released = "released", "released";
        /// Its time passed.
        Lapsed = "lapsed", "lapsed";
        /// A loss left too little: physics wins.
        Cut = "cut", "cut";
    }
}

word! {
    /// What may be done to a hold.
    HoldAct {
        /// The giver agrees.
        AgreeByGiver = "agree", "agreed by the giver";
        /// The giver declines or takes it back.
        ReleaseByGiver = "release-by-giver", "released by the giver";
        /// The taker needs it no more.
        ReleaseByTaker = "release-by-taker", "released by the taker";
        /// Its time passed.
        LapseByHouse = "lapse", "let lapse";
        /// A loss left too little of the lot.
        CutByHouse = "cut", "cut";
        /// A swap day was settled without it: a farm did not come.
        ReleaseByHouse = "release-by-house", "released by the settlement of a swap day";
        /// The stock leaves the giver.
        HandOverByGiver = "hand-over", "handed over by the giver";
        /// The taker confirms count and condition.
        ReceiveByTaker = "receive", "received by the taker";
    }
}

impl HoldAct {
    /// Who may.
    pub const fn by(self) -> Party {
        match self {
            Self::AgreeByGiver | Self::ReleaseByGiver | Self::HandOverByGiver => Party::Giver,
            Self::ReleaseByTaker | Self::ReceiveByTaker => Party::Taker,
            Self::LapseByHouse | Self::CutByHouse | Self::ReleaseByHouse => Party::House,
        }
    }
}

impl HoldState {
    /// Where an act leads from here, or why it is refused.
    pub fn after(self, act: HoldAct) -> Result<Self, Refused> {
        use HoldAct as A;
        let refuse = |why| Err(Refused::new("hold", self, act, why));
        match (self, act) {
            (Self::Held, A::AgreeByGiver) => Ok(Self::Agreed),
            (
                Self::Held | Self::Agreed,
                A::ReleaseByGiver | A::ReleaseByTaker | A::ReleaseByHouse,
            ) => Ok(Self::Released),
            (Self::Held, A::LapseByHouse) => Ok(Self::Lapsed),
            (Self::Held | Self::Agreed, A::CutByHouse) => Ok(Self::Cut),
            (Self::Agreed, A::HandOverByGiver) => Ok(Self::HandedOver),
            (Self::HandedOver, A::ReceiveByTaker) => Ok(Self::Received),
            (Self::Held, A::HandOverByGiver | A::ReceiveByTaker) => refuse(Why::NotAgreedYet),
            (Self::Agreed, A::LapseByHouse) => refuse(Why::Agreed),
            (Self::Agreed, A::ReceiveByTaker) => refuse(Why::NotHandedOverYet),
            (Self::Agreed, A::AgreeByGiver)
            | (Self::HandedOver, A::HandOverByGiver)
            | (Self::Received, A::ReceiveByTaker)
            | (Self::Released, A::ReleaseByGiver | A::ReleaseByTaker | A::ReleaseByHouse)
            | (Self::Lapsed, A::LapseByHouse)
            | (Self::Cut, A::CutByHouse) => refuse(Why::AlreadySo),
            (Self::HandedOver | Self::Received, _) => refuse(Why::ChangedHands),
            (Self::Released | Self::Lapsed | Self::Cut, _) => refuse(Why::Ended),
        }
    }

    /// Whether it binds stock that is still in the giver's store, its time not looked at.
    pub const fn is_live(self) -> bool {
        matches!(self, Self::Held | Self::Agreed)
    }

    /// Whether the stock has left the giver.
    pub const fn has_changed_hands(self) -> bool {
        matches!(self, Self::HandedOver | Self::Received)
    }

    /// Whether it binds stock in store at `now`: a held promise only before its time, whether or
    /// not a job has written the lapse down.
    pub fn counts_at(self, until: Moment, now: Moment) -> bool {
        match self {
            Self::Held => now < until,
            Self::Agreed => true,
            _ => false,
        }
    }
}
