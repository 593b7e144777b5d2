//! A round: one run of matching over a network, by rules that are fixed before it begins.
//!
//! What may not enter: offers and wants, and how a round is solved.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::owed::Tenths;
use super::{Party, Refused, Why};
use crate::words::{Day, UnknownWord, plain, word};

word! {
    /// How a round stands.
    RoundState {
        /// Its view is frozen; a server will take it up.
        Asked = "asked", "asked for";
        /// A server solves it.
        Solving = "solving", "being solved";
        /// Its farms were asked.
        Proposed = "proposed", "proposed to its farms";
        /// Nothing could be swapped.
        NothingFound = "nothing-found", "without anything to swap";
        /// It could not be solved.
        Failed = "failed", "failed";
    }
}

word! {
    /// What may be done to a round.
    RoundAct {
        /// A server takes it up; another one may when that one has gone.
        TakeByHouse = "take", "taken up";
        /// Proposals are made.
        ProposeByHouse = "propose", "proposed";
        /// There is nothing to swap.
        FindNothingByHouse = "find-nothing", "found without anything to swap";
        /// It can't be solved.
        FailByHouse = "fail", "given up";
    }
}

impl RoundAct {
    /// Who may.
    pub const fn by(self) -> Party {
        match self {
            Self::TakeByHouse
            | Self::ProposeByHouse
            | Self::FindNothingByHouse
            | Self::FailByHouse => Party::House,
        }
    }
}

impl RoundState {
    /// Where an act leads from here, or why it is refused.
    pub fn after(self, act: RoundAct) -> Result<Self, Refused> {
        use RoundAct as A;
        let refuse = |why| Err(Refused::new("round", self, act, why));
        match (self, act) {
            (Self::Asked | Self::Solving, A::TakeByHouse) => Ok(Self::Solving),
            (Self::Solving, A::ProposeByHouse) => Ok(Self::Proposed),
            (Self::Solving, A::FindNothingByHouse) => Ok(Self::NothingFound),
            (Self::Solving, A::FailByHouse) => Ok(Self::Failed),
            (Self::Asked, _) => refuse(Why::NotBegun),
            (Self::Proposed, A::ProposeByHouse)
            | (Self::NothingFound, A::FindNothingByHouse)
            | (Self::Failed, A::FailByHouse) => refuse(Why::AlreadySo),
            (Self::Proposed | Self::NothingFound | Self::Failed, _) => refuse(Why::Ended),
        }
    }

    /// Whether a server still has to do something about it.
    pub const fn is_under_way(self) -> bool {
        matches!(self, Self::Asked | Self::Solving)
    }
}

/// How farms swap in a round.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Kind {
    /// Loops: each farm gives to the next, each loop even by itself.
    Loops {
        /// Most farms a loop, 2 to 4.
        most_farms: u8,
        /// How far apart the values of a loop's parcels may lie.
        tolerance: Tenths,
    },
    /// A swap day: everybody brings, everybody takes.
    SwapDay {
        /// When.
        on: Day,
        /// Where, in words.
        place: String,
    },
}

/// What is fixed before a round begins.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Rules {
    /// Loops or a swap day.
    #[serde(flatten)]
    pub kind: Kind,
    /// What a parcel costs: a parcel that brings less is not worth sending.
    pub parcel_cost: Tenths,
    /// The limit of a farm for which the coordinator has set none.
    pub usual_limit: Tenths,
    /// Hours that farms have to answer.
    pub answer_hours: u16,
    /// Seconds that the search may take.
    pub seconds: u16,
}

/// A rule that can't be.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{problem}")]
pub struct RuleError {
    /// The field, as the interface names it.
    pub field: &'static str,
    /// What is wrong with it.
    pub problem: String,
}

impl Rules {
    /// Rounds of loops as they usually are (ours: 2 to 3 farms, parcels within 1.5 median divisions of
    /// one another, three days to answer).
    pub const fn usual_loops() -> Self {
        Self {
            kind: Kind::Loops { most_farms: 3, tolerance: Tenths(15) },
            parcel_cost: Tenths(10),
            usual_limit: Tenths(200),
            answer_hours: 72,
            seconds: 20,
        }
    }

    /// A swap day as it usually is: nothing is sent, so a parcel costs nothing.
    pub const fn usual_swap_day(on: Day, place: String) -> Self {
        Self {
            kind: Kind::SwapDay { on, place },
            parcel_cost: Tenths(0),
            usual_limit: Tenths(200),
            answer_hours: 72,
            seconds: 20,
        }
    }

    /// Checks what was typed.
    ///
    /// # Errors
    /// The first rule that can't be.
    pub fn check(&self) -> Result<(), RuleError> {
        let wrong = |field, problem| Err(RuleError { field, problem });
        if let Kind::Loops { most_farms, tolerance } = &self.kind {
            if !(2..=4).contains(most_farms) {
                return wrong("most_farms", format!("2 to 4 farms (got {most_farms})"));
            }
            if !(0..=10_000).contains(&tolerance.0) {
                return wrong("tolerance_tenths", format!("0 to 1,000.0 (got {tolerance})"));
            }
        }
        if !(0..=10_000).contains(&self.parcel_cost.0) {
            return wrong("parcel_cost_tenths", format!("0 to 1,000.0 (got {})", self.parcel_cost));
        }
        if !(0..=1_000_000).contains(&self.usual_limit.0) {
            return wrong(
                "usual_limit_tenths",
                format!("0 to 100,000.0 (got {})", self.usual_limit),
            );
        }
        if !(1..=720).contains(&self.answer_hours) {
            return wrong("answer_hours", format!("1 to 720 hours (got {})", self.answer_hours));
        }
        if !(1..=600).contains(&self.seconds) {
            return wrong("seconds", format!("1 to 600 seconds (got {})", self.seconds));
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn usual_rules_are_in_order_and_are_read_back_as_written() {
        let day: Day = "2027-03-14".parse().unwrap();
        for rules in [Rules::usual_loops(), Rules::usual_swap_day(day, "the old barn".into())] {
            rules.check().unwrap();
            let text = serde_json::to_string(&rules).unwrap();
            assert_eq!(serde_json::from_str::<Rules>(&text).unwrap(), rules);
        }
    }

    #[test]
    fn a_loop_of_five_farms_and_an_answer_at_once_are_refused_by_name() {
        let kind = Kind::Loops { most_farms: 5, tolerance: Tenths(15) };
        let refused = Rules { kind, ..Rules::usual_loops() }.check().unwrap_err();
        assert_eq!(refused.field, "most_farms");
        let refused = Rules { answer_hours: 0, ..Rules::usual_loops() }.check().unwrap_err();
        assert_eq!(refused.field, "answer_hours");
    }
}
