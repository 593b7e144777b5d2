//! A claim: what the taker says is wrong with what arrived, and what becomes of it.
//!
//! The giver grants it or says that they see it otherwise; silence is taken for the latter, so that no
//! claim hangs for ever, and the coordinator decides, on record. What may not enter: postings, and
//! who is right.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::{Moment, Party, Refused, Why};
use crate::words::{Day, UnknownWord, plain, word};

/// Days after the receipt within which condition can be claimed (common practice, no source).
pub const CONDITION_DAYS: u16 = 14;
/// Days after the receipt within which it can be claimed that a unit has no eye: five weeks in the warm
/// (common practice, no source).
pub const NO_EYE_DAYS: u16 = 35;
/// Until first bloom a name can be claimed; taken for the last day of September, since nobody notes the
/// day of every plant (ours).
pub const NAMED_UNTIL: (u32, u32) = (9, 30);
/// Days that the giver has to answer, before the coordinator may decide (ours).
pub const ANSWER_DAYS: u16 = 14;

word! {
    /// What is claimed.
    ClaimKind {
        /// Rotten, broken, dried out or frozen on arrival.
        Condition = "condition", "bad condition on arrival";
        /// Nothing sprouts where an eye was promised.
        NoEye = "no-eye", "no eye";
        /// It blooms as something else.
        NotTrue = "not-true", "not true to name";
    }
}

impl ClaimKind {
    /// The last day on which it can be claimed of what was received on a day.
    ///
    /// ```
    /// use spareloop_domain::exchange::claim::ClaimKind;
    /// let received = "2027-03-20".parse()?;
    /// assert_eq!(ClaimKind::Condition.until(received).to_string(), "2027-04-03");
    /// assert_eq!(ClaimKind::NoEye.until(received).to_string(), "2027-04-24");
    /// assert_eq!(ClaimKind::NotTrue.until(received).to_string(), "2027-09-30");
    /// # Ok::<(), spareloop_domain::words::DayError>(())
    /// ```
    pub fn until(self, received: Day) -> Day {
        match self {
            Self::Condition => received.plus_days(u32::from(CONDITION_DAYS)),
            Self::NoEye => received.plus_days(u32::from(NO_EYE_DAYS)),
            Self::NotTrue => first_bloom_after(received),
        }
    }
}

/// The last day of September of the year in which what was received on a day blooms first.
fn first_bloom_after(received: Day) -> Day {
    use chrono::Datelike;
    let (month, day) = NAMED_UNTIL;
    let in_year = |year| chrono::NaiveDate::from_ymd_opt(year, month, day);
    let date = received.date();
    let this_year = in_year(date.year()).filter(|until| *until >= date);
    let until = this_year.or_else(|| in_year(date.year() + 1)).unwrap_or(date);
    // At most 366 days ahead.
    received.plus_days(u32::try_from((until - date).num_days()).unwrap_or(0))
}

word! {
    /// How a claim stands.
    ClaimState {
        /// The giver is asked.
        Open = "open", "waiting for the giver";
        /// The giver granted it.
        Granted = "granted", "granted";
        /// The giver sees it otherwise, or has not answered in time; the coordinator decides.
        Disputed = "disputed", "disputed";
        /// The coordinator decided.
        Decided = "decided", "decided";
        /// The taker took it back.
        Withdrawn = "withdrawn", "withdrawn";
    }
}

word! {
    /// What may be done to a claim.
    ClaimAct {
        /// The giver grants it.
        GrantByGiver = "grant", "granted by the giver";
        /// The giver sees it otherwise.
        DisputeByGiver = "dispute", "disputed by the giver";
        /// The coordinator decides, on record.
        DecideByCoordinator = "decide", "decided by the coordinator";
        /// The taker takes it back.
        WithdrawByTaker = "withdraw", "withdrawn by the taker";
    }
}

impl ClaimAct {
    /// Who may.
    pub const fn by(self) -> Party {
        match self {
            Self::GrantByGiver | Self::DisputeByGiver => Party::Giver,
            Self::DecideByCoordinator => Party::Coordinator,
            Self::WithdrawByTaker => Party::Taker,
        }
    }
}

impl ClaimState {
    /// Where an act leads from here, or why it is refused.
    pub fn after(self, act: ClaimAct) -> Result<Self, Refused> {
        use ClaimAct as A;
        let refuse = |why| Err(Refused::new("claim", self, act, why));
        match (self, act) {
            (Self::Open | Self::Disputed, A::GrantByGiver) => Ok(Self::Granted),
            (Self::Open, A::DisputeByGiver) => Ok(Self::Disputed),
            (Self::Disputed, A::DecideByCoordinator) => Ok(Self::Decided),
            (Self::Open | Self::Disputed, A::WithdrawByTaker) => Ok(Self::Withdrawn),
            (Self::Open, A::DecideByCoordinator) => refuse(Why::NoDispute),
            (Self::Disputed, A::DisputeByGiver)
            | (Self::Granted, A::GrantByGiver)
            | (Self::Decided, A::DecideByCoordinator)
            | (Self::Withdrawn, A::WithdrawByTaker) => refuse(Why::AlreadySo),
            (Self::Granted | Self::Decided | Self::Withdrawn, _) => refuse(Why::Ended),
        }
    }

    /// How it stands at `now`: one that the giver has not answered in time is disputed, whether or not
    /// that is written down.
    #[must_use]
    pub fn at(self, answer_by: Moment, now: Moment) -> Self {
        if self == Self::Open && now >= answer_by { Self::Disputed } else { self }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn silence_of_the_giver_is_a_dispute_once_the_date_has_passed_and_not_before() {
        let (by, before) = (Moment(100), Moment(99));
        assert_eq!(ClaimState::Open.at(by, before), ClaimState::Open);
        assert_eq!(ClaimState::Open.at(by, by), ClaimState::Disputed);
        assert_eq!(ClaimState::Granted.at(by, by), ClaimState::Granted);
        assert!(ClaimState::Open.after(ClaimAct::DecideByCoordinator).is_err());
        assert!(ClaimState::Open.at(by, by).after(ClaimAct::DecideByCoordinator).is_ok());
    }

    #[test]
    fn a_name_is_claimed_until_the_first_bloom_of_what_came() {
        let until = |day: &str| ClaimKind::NotTrue.until(day.parse().unwrap()).to_string();
        assert_eq!(until("2027-09-30"), "2027-09-30");
        assert_eq!(until("2027-10-01"), "2028-09-30");
        assert_eq!(until("2027-01-05"), "2027-09-30");
    }

    #[test]
    fn what_has_ended_is_never_claimed_again() {
        for state in [ClaimState::Granted, ClaimState::Decided, ClaimState::Withdrawn] {
            assert!(ClaimAct::ALL.iter().all(|act| state.after(*act).is_err()), "{state}");
        }
    }
}
