//! A proposal of a round: a loop, which is all or nothing, or a swap day, to which each farm comes
//! or not.
//!
//! No farm needs a reason to decline, and silence declines. A loop that all accept makes all its
//! holds at once; one decline dissolves it and no other. Where a parcel of an agreed loop does not
//! come, those that were not sent yet are stopped, and what was handed over is booked. What may not
//! enter: how it was found.

use std::collections::BTreeMap;
use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::owed::Tenths;
use super::{Moment, Party, Refused, Why};
use crate::words::{Count, FarmId, UnknownWord, plain, word};

word! {
    /// What is proposed.
    ProposalKind {
        /// Each farm gives to the next, the last to the first; all or nothing.
        Loop = "loop", "loop";
        /// Everybody brings, everybody takes.
        SwapDay = "swap-day", "swap day";
    }
}

word! {
    /// How a proposal stands.
    ProposalState {
        /// Its farms are asked.
        Open = "open", "waiting for answers";
        /// Its farms accepted and its holds were made.
        Agreed = "agreed", "agreed";
        /// The swap day is over, and settled for those who came.
        Settled = "settled", "settled";
        /// A farm declined, so nothing of it comes about.
        Declined = "declined", "declined";
        /// The date passed and a farm had not answered.
        Lapsed = "lapsed", "lapsed";
        /// All accepted, but its stock or its want was gone by then.
        FellThrough = "fell-through", "fell through";
        /// A parcel of an agreed loop does not come: what was not sent yet stays where it is.
        Stopped = "stopped", "stopped in part";
    }
}

word! {
    /// What may be done to a proposal.
    ProposalAct {
        /// A farm accepts.
        AcceptByPart = "accept", "accepted by a farm";
        /// A farm of a loop declines.
        DeclineByPart = "decline", "declined by a farm";
        /// A farm does not come to a swap day; the others still may.
        StayAwayByPart = "stay-away", "declined by a farm of a swap day";
        /// The holds are made.
        AgreeByHouse = "agree", "agreed";
        /// The date passed.
        LapseByHouse = "lapse", "let lapse";
        /// Stock or a want is gone.
        FallByHouse = "fall", "let fall through";
        /// A parcel of the loop does not come: those not sent yet are stopped.
        StopByHouse = "stop", "stopped in part";
        /// The swap day is over: it is settled for those who came.
        SettleByCoordinator = "settle", "settled";
    }
}

impl ProposalAct {
    /// Who may.
    pub const fn by(self) -> Party {
        match self {
            Self::AcceptByPart | Self::DeclineByPart | Self::StayAwayByPart => Party::Part,
            Self::AgreeByHouse | Self::LapseByHouse | Self::FallByHouse | Self::StopByHouse => {
                Party::House
            }
            Self::SettleByCoordinator => Party::Coordinator,
        }
    }
}

impl ProposalState {
    /// Where an act leads from here, or why it is refused.
    ///
    /// ```
    /// use spareloop_domain::exchange::{ProposalAct, ProposalState};
    /// assert_eq!(ProposalState::Open.after(ProposalAct::AcceptByPart), Ok(ProposalState::Open));
    /// assert!(ProposalState::Agreed.after(ProposalAct::DeclineByPart).is_err());
    /// ```
    pub fn after(self, act: ProposalAct) -> Result<Self, Refused> {
        use ProposalAct as A;
        let refuse = |why| Err(Refused::new("proposal", self, act, why));
        match (self, act) {
            (Self::Open, A::AcceptByPart | A::StayAwayByPart) => Ok(Self::Open),
            (Self::Open, A::DeclineByPart) => Ok(Self::Declined),
            (Self::Open, A::AgreeByHouse) => Ok(Self::Agreed),
            (Self::Open, A::LapseByHouse) => Ok(Self::Lapsed),
            (Self::Open, A::FallByHouse) => Ok(Self::FellThrough),
            (Self::Agreed, A::StopByHouse) => Ok(Self::Stopped),
            (Self::Agreed, A::SettleByCoordinator) => Ok(Self::Settled),
            (Self::Open, A::SettleByCoordinator | A::StopByHouse) => refuse(Why::NotAnswered),
            (Self::Agreed, A::AcceptByPart | A::AgreeByHouse)
            | (Self::Declined, A::DeclineByPart)
            | (Self::Lapsed, A::LapseByHouse)
            | (Self::FellThrough, A::FallByHouse)
            | (Self::Stopped, A::StopByHouse)
            | (Self::Settled, A::SettleByCoordinator) => refuse(Why::AlreadySo),
            (Self::Agreed, A::DeclineByPart | A::StayAwayByPart | A::FallByHouse) => {
                refuse(Why::HoldsStand)
            }
            (Self::Agreed, A::LapseByHouse) => refuse(Why::Agreed),
            (
                Self::Declined | Self::Lapsed | Self::FellThrough | Self::Settled | Self::Stopped,
                _,
            ) => refuse(Why::Ended),
        }
    }

    /// How it stands at `now`: one whose date has passed asks nobody any more, whether or not a job
    /// has written that down.
    #[must_use]
    pub fn at(self, answer_by: Moment, now: Moment) -> Self {
        if self == Self::Open && now >= answer_by { Self::Lapsed } else { self }
    }
}

impl ProposalKind {
    /// What a farm's answer does to the whole: one decline dissolves a loop, and a swap day takes
    /// place without that farm.
    pub const fn act_of(self, answer: AnswerAct) -> ProposalAct {
        match (answer, self) {
            (AnswerAct::AcceptByPart, _) => ProposalAct::AcceptByPart,
            (AnswerAct::DeclineByPart, Self::Loop) => ProposalAct::DeclineByPart,
            (AnswerAct::DeclineByPart, Self::SwapDay) => ProposalAct::StayAwayByPart,
        }
    }
}

word! {
    /// What a farm answers to a proposal.
    Answer {
        /// Nothing yet; silence declines.
        Waiting = "waiting", "has not answered";
        /// Yes.
        Accepted = "accepted", "accepts";
        /// No; no reason is asked for.
        Declined = "declined", "declines";
    }
}

word! {
    /// How a farm answers.
    AnswerAct {
        /// Yes.
        AcceptByPart = "accept", "accepted";
        /// No. One that accepted may think better of it as long as others have not answered.
        DeclineByPart = "decline", "declined";
    }
}

impl AnswerAct {
    /// Who may.
    pub const fn by(self) -> Party {
        match self {
            Self::AcceptByPart | Self::DeclineByPart => Party::Part,
        }
    }
}

impl Answer {
    /// Where an act leads from here, or why it is refused.
    pub fn after(self, act: AnswerAct) -> Result<Self, Refused> {
        match (self, act) {
            (Self::Waiting | Self::Declined, AnswerAct::AcceptByPart) => Ok(Self::Accepted),
            (Self::Waiting | Self::Accepted, AnswerAct::DeclineByPart) => Ok(Self::Declined),
            (Self::Accepted, AnswerAct::AcceptByPart)
            | (Self::Declined, AnswerAct::DeclineByPart) => {
                Err(Refused::new("answer", self, act, Why::AlreadySo))
            }
        }
    }
}

/// One parcel line of a proposal, as far as values care.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Passing {
    /// Who gives.
    pub giver: FarmId,
    /// Who takes.
    pub taker: FarmId,
    /// How many.
    pub count: Count,
    /// What one is worth.
    pub unit_value: Tenths,
}

impl Passing {
    /// What all of it is worth.
    pub fn value(&self) -> Tenths {
        // At most 10^6 units of at most 10^6 tenths each.
        Tenths(i64::from(self.count) * self.unit_value.0)
    }
}

/// What a farm gives and gets by a proposal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Share {
    /// Worth given.
    pub given: Tenths,
    /// Worth received.
    pub got: Tenths,
}

impl Share {
    /// Given less received: what the owed book moves by.
    pub const fn net(self) -> Tenths {
        Tenths(self.given.0 - self.got.0)
    }
}

/// What every farm gives and gets. All nets together come to nothing.
pub fn shares<'a>(lines: impl IntoIterator<Item = &'a Passing>) -> BTreeMap<FarmId, Share> {
    let mut shares: BTreeMap<FarmId, Share> = BTreeMap::new();
    for line in lines {
        shares.entry(line.giver).or_default().given.0 += line.value().0;
        shares.entry(line.taker).or_default().got.0 += line.value().0;
    }
    shares
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dice::Dice;

    #[test]
    fn silence_declines_at_the_date_whether_or_not_the_job_has_run() {
        let state = ProposalState::Open;
        assert_eq!(state.at(Moment(10), Moment(9)), ProposalState::Open);
        assert_eq!(state.at(Moment(10), Moment(10)), ProposalState::Lapsed);
        assert_eq!(ProposalState::Agreed.at(Moment(10), Moment(99)), ProposalState::Agreed);
    }

    #[test]
    fn what_farms_give_and_get_comes_to_nothing_over_all() {
        let mut dice = Dice::new(7);
        let farms: Vec<FarmId> = (0..5).map(|_| FarmId::new(dice.id())).collect();
        let lines: Vec<Passing> = (0..40_usize)
            .map(|at| Passing {
                giver: farms[at % 5],
                taker: farms[(at + 1 + at % 4) % 5],
                count: dice.count(30),
                unit_value: Tenths(i64::from(dice.below(40))),
            })
            .collect();
        let shares = shares(&lines);
        assert_eq!(shares.values().map(|share| share.net().0).sum::<i64>(), 0);
        assert!(shares.values().any(|share| share.net().0 != 0));
    }
}
