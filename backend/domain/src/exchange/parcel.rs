//! A parcel: how what two farms agreed on travels, and who bears what on the way.
//!
//! Who pays the post and who bears freezing is agreed before it is packed; it leaves on no day before
//! the one set for the frost at its destination, nor while either farm has paused it. Stock that is agreed
//! does not lapse, so a pause costs no hold. What may not enter: weather, carriers, clocks.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::{Party, Refused, Why};
use crate::words::{Day, UnknownWord, plain, word};

word! {
    /// Who pays the post.
    Post {
        /// The farm that gives.
        Giver = "giver", "the giver";
        /// The farm that takes.
        Taker = "taker", "the taker";
        /// Half each.
        Halves = "halves", "both, half each";
    }
}

word! {
    /// Who bears it if the parcel freezes on the way.
    FrostBorneBy {
        /// The giver: what came frozen is not owed for.
        Giver = "giver", "the giver";
        /// The taker: what was given is owed for.
        Taker = "taker", "the taker";
    }
}

/// What the two farms agree before anything is packed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Terms {
    /// Who pays the post.
    pub post: Post,
    /// Who bears freezing.
    pub frost: FrostBorneBy,
    /// The first day on which it may leave, for the frost at its destination.
    pub not_before: Option<Day>,
}

word! {
    /// How a parcel stands.
    ParcelState {
        /// One farm has proposed terms.
        Proposed = "proposed", "terms proposed";
        /// Both have agreed to them.
        Agreed = "agreed", "terms agreed";
        /// It is packed.
        Packed = "packed", "packed";
        /// It is on its way: the stock was handed over.
        Sent = "sent", "sent";
        /// It came.
        Arrived = "arrived", "arrived";
        /// It never came.
        Lost = "lost", "lost on the way";
        /// It came frozen.
        Frozen = "frozen", "frozen on the way";
    }
}

word! {
    /// What may be done to a parcel.
    ParcelAct {
        /// Terms are proposed, or others instead.
        ProposeByPart = "propose", "given other terms";
        /// The other farm agrees to them.
        AgreeByPart = "agree", "agreed to";
        /// It is packed.
        PackByGiver = "pack", "packed by the giver";
        /// It leaves: the hand-over.
        SendByGiver = "send", "sent by the giver";
        /// It came: the receipt.
        ArriveByTaker = "arrive", "received by the taker";
        /// It never came.
        LoseByTaker = "lose", "noted as lost by the taker";
        /// It came frozen.
        FreezeByTaker = "freeze", "noted as frozen by the taker";
    }
}

impl ParcelAct {
    /// Who may.
    pub const fn by(self) -> Party {
        match self {
            Self::ProposeByPart | Self::AgreeByPart => Party::Part,
            Self::PackByGiver | Self::SendByGiver => Party::Giver,
            Self::ArriveByTaker | Self::LoseByTaker | Self::FreezeByTaker => Party::Taker,
        }
    }
}

impl ParcelState {
    /// Where an act leads from here, or why it is refused.
    pub fn after(self, act: ParcelAct) -> Result<Self, Refused> {
        use ParcelAct as A;
        let refuse = |why| Err(Refused::new("parcel", self, act, why));
        match (self, act) {
            (Self::Proposed | Self::Agreed, A::ProposeByPart) => Ok(Self::Proposed),
            (Self::Proposed, A::AgreeByPart) => Ok(Self::Agreed),
            (Self::Agreed, A::PackByGiver) => Ok(Self::Packed),
            (Self::Packed, A::SendByGiver) => Ok(Self::Sent),
            (Self::Sent, A::ArriveByTaker) => Ok(Self::Arrived),
            (Self::Sent, A::LoseByTaker) => Ok(Self::Lost),
            (Self::Sent, A::FreezeByTaker) => Ok(Self::Frozen),
            (Self::Proposed, A::PackByGiver | A::SendByGiver) => refuse(Why::TermsOpen),
            (Self::Agreed, A::SendByGiver) => refuse(Why::NotPackedYet),
            (Self::Packed, A::ProposeByPart) => refuse(Why::Packed),
            (Self::Agreed | Self::Packed, A::AgreeByPart)
            | (Self::Packed, A::PackByGiver)
            | (Self::Sent, A::SendByGiver)
            | (Self::Arrived, A::ArriveByTaker)
            | (Self::Lost, A::LoseByTaker)
            | (Self::Frozen, A::FreezeByTaker) => refuse(Why::AlreadySo),
            (
                Self::Proposed | Self::Agreed | Self::Packed,
                A::ArriveByTaker | A::LoseByTaker | A::FreezeByTaker,
            ) => refuse(Why::NotHandedOverYet),
            (Self::Sent, A::ProposeByPart | A::AgreeByPart | A::PackByGiver) => {
                refuse(Why::ChangedHands)
            }
            (Self::Arrived | Self::Lost | Self::Frozen, _) => refuse(Why::Ended),
        }
    }
}

word! {
    /// How something came, as the taker says.
    Arrival {
        /// It came.
        Arrived = "arrived", "it came";
        /// It never came.
        Lost = "lost", "it never came";
        /// It came frozen.
        Frozen = "frozen", "it came frozen";
    }
}

impl Arrival {
    /// What that does to a parcel.
    pub const fn act(self) -> ParcelAct {
        match self {
            Self::Arrived => ParcelAct::ArriveByTaker,
            Self::Lost => ParcelAct::LoseByTaker,
            Self::Frozen => ParcelAct::FreezeByTaker,
        }
    }
}

/// Why a parcel may not leave on a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotYet {
    /// It is too early in the year where it goes.
    #[error("it is not to leave before {0}, for the frost where it goes")]
    Frost(Day),
    /// Either farm has paused it.
    #[error("it is paused until {0}; the pause can be lifted by the farm that set it")]
    Paused(Day),
}

/// Whether a parcel may leave on a day.
///
/// ```
/// use spareloop_domain::exchange::parcel::{NotYet, may_leave};
/// let day = |text: &str| text.parse().ok();
/// let (on, frost) = (day("2027-03-01"), day("2027-03-15"));
/// assert_eq!(on.zip(frost).map(|(on, frost)| may_leave(on, Some(frost), None)), frost.map(|it| Err(NotYet::Frost(it))));
/// assert_eq!(frost.map(|on| may_leave(on, Some(on), None)), Some(Ok(())));
/// ```
pub fn may_leave(
    on: Day,
    not_before: Option<Day>,
    paused_until: Option<Day>,
) -> Result<(), NotYet> {
    if let Some(first) = not_before.filter(|first| on < *first) {
        return Err(NotYet::Frost(first));
    }
    if let Some(until) = paused_until.filter(|until| on <= *until) {
        return Err(NotYet::Paused(until));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn nothing_is_packed_before_both_agreed_who_bears_freezing_and_nothing_sent_unpacked() {
        assert!(ParcelState::Proposed.after(ParcelAct::PackByGiver).is_err());
        assert!(ParcelState::Agreed.after(ParcelAct::SendByGiver).is_err());
        assert_eq!(ParcelState::Packed.after(ParcelAct::SendByGiver), Ok(ParcelState::Sent));
        let again = ParcelState::Agreed.after(ParcelAct::ProposeByPart);
        assert_eq!(again, Ok(ParcelState::Proposed), "other terms are agreed anew");
    }

    #[test]
    fn a_paused_parcel_leaves_on_the_day_after_its_last_day_of_pause() {
        let day = |text: &str| text.parse::<Day>().unwrap();
        let until = Some(day("2027-03-10"));
        assert_eq!(
            may_leave(day("2027-03-10"), None, until),
            Err(NotYet::Paused(day("2027-03-10")))
        );
        assert_eq!(may_leave(day("2027-03-11"), None, until), Ok(()));
    }
}
