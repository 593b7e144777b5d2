//! The states of an exchange: offer, want, hold and hand-over, each with one transition function.
//!
//! ```text
//! offer      open -> withdrawn | closed | set aside
//! want       open -> filled | withdrawn
//! hold       held -> agreed -> handed over -> received | released | lapsed | cut
//! hand_over  given -> received | disputed
//! turn       waiting -> called | left | closed: the line for an offer of which nothing is free
//! round      asked for -> being solved -> proposed | nothing found | failed; its rules
//! proposal   waiting for answers -> agreed -> settled | stopped | declined | lapsed | fell through
//! claim      waiting for the giver -> granted | disputed -> decided | withdrawn, and until when
//! cut        what is cut when a lot can't bear what was promised of it, by the network's rule
//! money      what was paid outside, recorded once both confirm; starter: offers for beginners
//! question   put to the giver: own need or a provisional promise
//! owed       who is owed how much after uneven hand-overs; limit: how far that may go
//! parcel     terms proposed -> agreed -> packed -> sent -> arrived | lost | frozen; frost dates and pauses
//! movement   what a coordinator asks for between regions, and the caution that both farms are told
//! photo      what photos stand beside, and how many
//! distance   how far farms lie from each other, and a want's greatest distance
//! table      every state against every act, for the docs and the tests
//! ```
//!
//! Who may do an act is part of the act's name and of its `by()`; a handler asks the act who may,
//! and the transition function whether it may now. What may not enter: rows, requests, clocks. A
//! time is an argument.

pub mod claim;
pub mod cut;
pub mod distance;
pub mod hand_over;
pub mod hold;
pub mod limit;
pub mod money;
pub mod movement;
pub mod offer;
pub mod owed;
pub mod parcel;
pub mod photo;
pub mod proposal;
pub mod question;
pub mod round;
pub mod starter;
pub mod table;
pub mod turn;
pub mod want;

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::words::{UnknownWord, plain, word};

pub use claim::{ClaimAct, ClaimKind, ClaimState};
pub use distance::{GreatestDistance, Kilometres, Whereabouts};
pub use hand_over::{HandOverAct, HandOverState};
pub use hold::{HoldAct, HoldState};
pub use limit::{BeyondLimit, Limit, Standing};
pub use money::{Money, PaymentAct, PaymentState};
pub use offer::{OfferAct, OfferState};
pub use parcel::{Arrival, ParcelAct, ParcelState};
pub use proposal::{Answer, AnswerAct, ProposalAct, ProposalKind, ProposalState};
pub use question::{QuestionAct, QuestionState};
pub use round::{RoundAct, RoundState};
pub use starter::OpenTo;
pub use turn::{TurnAct, TurnState};
pub use want::{WantAct, WantState};

word! {
    /// Who does something in an exchange.
    Party {
        /// The farm that gives.
        Giver = "giver", "the giver";
        /// The farm that takes.
        Taker = "taker", "the taker";
        /// A farm that has a part in a proposal.
        Part = "part", "a farm with a part in it";
        /// The network's house-keeping: time, a loss in the ledger, a notice.
        House = "house", "the house-keeping";
        /// Whoever noted it.
        Noter = "noter", "the farm that noted it";
        /// The other of the two farms.
        OtherFarm = "other-farm", "the other farm";
        /// The coordinator, on record.
        Coordinator = "coordinator", "the coordinator";
    }
}

/// A moment on the server's clock: microseconds since 1970-01-01 UTC.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Moment(pub i64);

/// Why an act is refused in a state.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, thiserror::Error)]
pub enum Why {
    /// It is in that state already.
    #[error("that was done already")]
    AlreadySo,
    /// It has ended and begins no more.
    #[error("it has ended")]
    Ended,
    /// Something must come first.
    #[error("the giver has not agreed to it yet")]
    NotAgreedYet,
    /// An agreed promise does not lapse.
    #[error("it was agreed, and what is agreed does not lapse")]
    Agreed,
    /// The stock has changed hands.
    #[error("the stock has changed hands")]
    ChangedHands,
    /// Nothing changed hands yet.
    #[error("the stock has not changed hands yet")]
    NotHandedOverYet,
    /// A notice touches the lot.
    #[error("a notice touches its lot")]
    UnderNotice,
    /// No notice touches it.
    #[error("no notice touches it")]
    NoNotice,
    /// Nothing is in dispute.
    #[error("nothing is in dispute")]
    NoDispute,
    /// Some farms have not answered and the date has not passed.
    #[error("not every farm has answered yet")]
    NotAnswered,
    /// Every farm accepted, and the holds were made.
    #[error("its farms have agreed and its holds stand")]
    HoldsStand,
    /// The two have not agreed on a parcel's terms.
    #[error("the two farms have not agreed yet who pays the post and who bears freezing")]
    TermsOpen,
    /// A parcel's terms are agreed and it is not packed.
    #[error("it is not packed yet")]
    NotPackedYet,
    /// A parcel is packed on the terms agreed.
    #[error("it is packed, on the terms that both agreed to")]
    Packed,
    /// Nobody is solving it.
    #[error("nobody has begun to solve it")]
    NotBegun,
    /// Both sides wait for the coordinator.
    #[error("it waits for the coordinator's decision")]
    InDispute,
}

impl Why {
    /// What to do next.
    pub const fn hint(self) -> &'static str {
        match self {
            Self::AlreadySo => "Nothing to do: look at it again to see how it stands.",
            Self::Ended => "Make a new one; what ended stays on record.",
            Self::NotAgreedYet => "Wait for the giver to agree, or ask them.",
            Self::Agreed => "Either side can still release it.",
            Self::ChangedHands => "Confirm what arrived, or report what is wrong with it.",
            Self::NotHandedOverYet => "Hand over first, then the taker confirms.",
            Self::UnderNotice => "Read the notice; the offer opens again once it is withdrawn.",
            Self::NoNotice => "Nothing to do.",
            Self::NoDispute => "Report what is wrong first, with count and condition.",
            Self::NotAnswered => "Wait for the answers, or for the date by which they are due.",
            Self::HoldsStand => "Look at the holds: either farm of one can still release it.",
            Self::TermsOpen => "The farm that was asked agrees to the terms, or proposes others.",
            Self::NotPackedYet => "Note that it is packed first.",
            Self::Packed => "Talk to the other farm; either can release the hold.",
            Self::NotBegun => "Wait a moment: a server takes it up by itself.",
            Self::InDispute => "Wait for the decision, or talk to the other farm.",
        }
    }
}

/// An act that a state refuses.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("this {thing} is {state}, so it can't be {act}: {why}")]
pub struct Refused {
    /// Offer, want, hold, hand-over, parcel, claim, payment, question, turn, round, proposal or answer.
    pub thing: &'static str,
    /// The state it is in, in words.
    pub state: String,
    /// The act, in words.
    pub act: String,
    /// Why.
    pub why: Why,
}

impl Refused {
    fn new(
        thing: &'static str,
        state: impl fmt::Display,
        act: impl fmt::Display,
        why: Why,
    ) -> Self {
        Self { thing, state: state.to_string(), act: act.to_string(), why }
    }

    /// What to do next.
    pub const fn hint(&self) -> &'static str {
        self.why.hint()
    }
}
