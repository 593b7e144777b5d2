//! A turn in the line for an offer of which not enough is free.
//!
//! First come, first held: what comes free is held for the first in line for a while, then for the
//! next. What may not enter: how many are free, and the clock.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::{Party, Refused, Why};
use crate::words::{Count, UnknownWord, plain, word};

word! {
    /// How a turn stands.
    TurnState {
        /// It waits.
        Waiting = "waiting", "waiting";
        /// Something came free and is held for its farm.
        Called = "called", "called";
        /// Its farm waits no more.
        Left = "left", "left";
        /// The offer is over.
        Closed = "closed", "closed";
    }
}

word! {
    /// What may be done to a turn.
    TurnAct {
        /// Something is held for it.
        CallByHouse = "call", "called";
        /// Its farm waits no more.
        LeaveByTaker = "leave", "left by the taker";
        /// The offer was withdrawn, closed or set aside for good.
        CloseByHouse = "close", "closed";
    }
}

impl TurnAct {
    /// Who may.
    pub const fn by(self) -> Party {
        match self {
            Self::LeaveByTaker => Party::Taker,
            Self::CallByHouse | Self::CloseByHouse => Party::House,
        }
    }
}

impl TurnState {
    /// Where an act leads from here, or why it is refused.
    pub fn after(self, act: TurnAct) -> Result<Self, Refused> {
        use TurnAct as A;
        let refuse = |why| Err(Refused::new("turn", self, act, why));
        match (self, act) {
            (Self::Waiting, A::CallByHouse) => Ok(Self::Called),
            (Self::Waiting, A::LeaveByTaker) => Ok(Self::Left),
            (Self::Waiting, A::CloseByHouse) => Ok(Self::Closed),
            (Self::Called, A::CallByHouse)
            | (Self::Left, A::LeaveByTaker)
            | (Self::Closed, A::CloseByHouse) => refuse(Why::AlreadySo),
            (Self::Called | Self::Left | Self::Closed, _) => refuse(Why::Ended),
        }
    }
}

/// How many are held for the first in line: as many as it asked for, as far as they are free, and
/// none where that is less than the giver sends. Nobody behind it is asked before it.
pub fn held_for_the_first(free: Count, asked: Count, smallest: Count) -> Option<Count> {
    let count = free.min(asked);
    (!count.is_zero() && count >= smallest).then_some(count)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_in_line_gets_what_is_free_but_never_less_than_is_sent() {
        let held = |free: u16, asked: u16, smallest: u16| {
            held_for_the_first(free.into(), asked.into(), smallest.into())
        };
        assert_eq!(held(9, 4, 2), Some(4_u16.into()));
        assert_eq!(held(3, 4, 2), Some(3_u16.into()));
        assert_eq!(held(1, 4, 2), None);
        assert_eq!(held(0, 4, 1), None);
    }
}
