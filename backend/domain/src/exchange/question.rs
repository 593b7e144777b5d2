//! The question to the giver: own need or the promise.
//!
//! A loss that leaves fewer in store than are promised cuts what is promised, firm or not
//! ([`super::cut`]): nobody can hold what is not there. A loss may also leave enough for what is held and
//! too few for the giver's own plan besides. Where the lot had not been looked over lately, its offer was
//! *provisional*, and the giver is asked which of the two yields; both sides hear of it at once. A firm
//! promise is not asked about: it stands. Silence keeps the promise, so that a taker need not wait for
//! an answer that does not come.
//!
//! What may not enter: who is told, and what of the promise is cut, which [`super::cut`] says.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::{Moment, Party, Refused, Why};
use crate::words::{Count, UnknownWord, plain, word};

/// Days that a giver has to answer (ours: short, since the taker may have to look elsewhere).
pub const ANSWER_WITHIN_DAYS: u32 = 3;

word! {
    /// How a question to the giver stands.
    QuestionState {
        /// The giver is asked.
        Asked = "asked", "put to the giver";
        /// The promise stands, and the giver's own need yields.
        PromiseStands = "promise-stands", "answered: the promise stands";
        /// Own need comes first, and the promise yields.
        NeedStands = "need-stands", "answered: own need comes first";
        /// A later loss asked anew.
        Overtaken = "overtaken", "overtaken by a later loss";
    }
}

word! {
    /// What may be done to it.
    QuestionAct {
        /// The giver keeps the promise.
        KeepPromiseByGiver = "keep-promise", "answered with the promise";
        /// The giver puts its own need first.
        KeepNeedByGiver = "keep-need", "answered with own need";
        /// A later loss of the lot asks anew.
        OvertakeByHouse = "overtake", "overtaken";
    }
}

impl QuestionAct {
    /// Who may.
    pub const fn by(self) -> Party {
        match self {
            Self::KeepPromiseByGiver | Self::KeepNeedByGiver => Party::Giver,
            Self::OvertakeByHouse => Party::House,
        }
    }
}

impl QuestionState {
    /// Where an act leads from here, or why it is refused.
    ///
    /// ```
    /// use spareloop_domain::exchange::{QuestionAct, QuestionState};
    /// let answered = QuestionState::Asked.after(QuestionAct::KeepNeedByGiver);
    /// assert_eq!(answered, Ok(QuestionState::NeedStands));
    /// assert!(QuestionState::NeedStands.after(QuestionAct::KeepPromiseByGiver).is_err());
    /// ```
    pub fn after(self, act: QuestionAct) -> Result<Self, Refused> {
        use QuestionAct as A;
        let refuse = |why| Err(Refused::new("question", self, act, why));
        match (self, act) {
            (Self::Asked, A::KeepPromiseByGiver) => Ok(Self::PromiseStands),
            (Self::Asked, A::KeepNeedByGiver) => Ok(Self::NeedStands),
            (Self::Asked, A::OvertakeByHouse) => Ok(Self::Overtaken),
            (Self::PromiseStands, A::KeepPromiseByGiver)
            | (Self::NeedStands, A::KeepNeedByGiver)
            | (Self::Overtaken, A::OvertakeByHouse) => refuse(Why::AlreadySo),
            (Self::PromiseStands | Self::NeedStands | Self::Overtaken, _) => refuse(Why::Ended),
        }
    }

    /// How it stands at `now`: silence keeps the promise once the date has passed, whether or not
    /// anything has written that down.
    #[must_use]
    pub fn at(self, answer_by: Moment, now: Moment) -> Self {
        if self == Self::Asked && now >= answer_by { Self::PromiseStands } else { self }
    }
}

/// What a farm has of a variety in one unit kind, and what it is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Need {
    /// Wanted by its own plan.
    pub planned: Count,
    /// In store, over all its lots that may be used.
    pub in_store: Count,
    /// Promised of them: living holds.
    pub held: Count,
}

impl Need {
    /// How many of its own plan it lacks if every promise stands, as far as promises are the reason.
    /// Losses to come are not in it: they are the forecast's.
    ///
    /// ```
    /// use spareloop_domain::exchange::question::Need;
    /// use spareloop_domain::words::Count;
    /// let n = Count::from;
    /// assert_eq!(Need { planned: n(12), in_store: n(18), held: n(10) }.lacks(), n(4));
    /// assert_eq!(Need { planned: n(30), in_store: n(18), held: n(10) }.lacks(), n(10));
    /// ```
    pub fn lacks(self) -> Count {
        self.held.plus(self.planned).less(self.in_store).min(self.held)
    }

    /// How many of a lot's `held` a loss asks about, if it asks: it must leave the farm lacking more than
    /// it did before, so that whoever promised beyond its own need is not asked what it knew.
    pub fn asked_after(self, in_store_before: Count, held_of_lot: Count) -> Option<Count> {
        let before = Self { in_store: in_store_before, ..self };
        let asked = self.lacks().min(held_of_lot);
        (self.lacks() > before.lacks() && !asked.is_zero()).then_some(asked)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn need(planned: u16, in_store: u16, held: u16) -> Need {
        let n = Count::from;
        Need { planned: n(planned), in_store: n(in_store), held: n(held) }
    }

    #[test]
    fn a_loss_that_leaves_enough_for_both_asks_nothing() {
        assert_eq!(need(8, 20, 10).asked_after(Count::from(30), Count::from(10)), None);
    }

    #[test]
    fn a_loss_that_leaves_too_few_for_the_plan_besides_asks_about_as_many() {
        assert_eq!(
            need(8, 15, 10).asked_after(Count::from(30), Count::from(10)),
            Some(Count::from(3))
        );
        assert_eq!(
            need(8, 15, 10).asked_after(Count::from(30), Count::from(2)),
            Some(Count::from(2)),
            "never about more than is held of that lot"
        );
    }

    #[test]
    fn whoever_promised_beyond_its_own_need_knew_it_and_is_not_asked() {
        assert_eq!(need(30, 20, 10).asked_after(Count::from(21), Count::from(10)), None);
        assert_eq!(need(8, 15, 10).asked_after(Count::from(15), Count::from(10)), None, "no loss");
    }

    #[test]
    fn silence_keeps_the_promise() {
        let asked = QuestionState::Asked;
        assert_eq!(asked.at(Moment(10), Moment(9)), QuestionState::Asked);
        assert_eq!(asked.at(Moment(10), Moment(10)), QuestionState::PromiseStands);
        assert_eq!(QuestionState::NeedStands.at(Moment(10), Moment(99)), QuestionState::NeedStands);
    }
}
