//! A channel: one way by which a farm is told things.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::words::{UnknownWord, plain, word};

word! {
    /// What a channel is.
    ChannelKind {
        /// Letters to an address.
        Mail = "mail", "e-mail";
        /// Signed calls to a program of the farm's.
        Webhook = "webhook", "webhook";
        /// An Atom feed under a secret address.
        Feed = "feed", "feed";
        /// A calendar under a secret address.
        Calendar = "calendar", "calendar";
    }
}

impl ChannelKind {
    /// Whether things are brought over it. The others are fetched by whoever knows the address.
    pub const fn is_brought(self) -> bool {
        matches!(self, Self::Mail | Self::Webhook)
    }

    /// How a new channel of the kind begins: to an address of e-mail nothing is sent before its
    /// owner confirmed it.
    pub const fn begins(self) -> ChannelState {
        match self {
            Self::Mail => ChannelState::Unconfirmed,
            Self::Webhook | Self::Feed | Self::Calendar => ChannelState::Open,
        }
    }
}

word! {
    /// How a channel stands.
    ChannelState {
        /// Waits for the owner of the address to confirm it.
        Unconfirmed = "unconfirmed", "not confirmed yet";
        /// In use.
        Open = "open", "open";
        /// Nothing is brought over it any more.
        Ended = "ended", "ended";
    }
}

word! {
    /// What may be done to a channel.
    ChannelAct {
        /// The owner of the address follows the link that was sent there.
        Confirm = "confirm", "confirmed";
        /// It gets a new secret; the old one stops working.
        Remake = "remake", "remade";
        /// What is sent there changes.
        Change = "change", "changed";
        /// The farm takes it back, or whoever reads the letters wants no more of them.
        End = "end", "ended";
    }
}

word! {
    /// What a channel of e-mail brings.
    Takes {
        /// Every message, as it comes.
        Messages = "messages", "every message";
        /// A letter a week on what is open, held and expiring.
        Digest = "digest", "a weekly letter";
        /// Both.
        Both = "both", "every message and a weekly letter";
    }
}

impl Takes {
    /// Whether every message is brought.
    pub const fn messages(self) -> bool {
        matches!(self, Self::Messages | Self::Both)
    }

    /// Whether the weekly letter is brought.
    pub const fn digest(self) -> bool {
        matches!(self, Self::Digest | Self::Both)
    }
}

/// An act that a channel's state refuses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("this channel is {state}, so it can't be {act}")]
pub struct Refused {
    /// How it stands.
    pub state: ChannelState,
    /// What was to be done.
    pub act: ChannelAct,
}

impl ChannelState {
    /// Where an act leads from here, or why it is refused.
    pub const fn after(self, act: ChannelAct) -> Result<Self, Refused> {
        use ChannelAct as A;
        match (self, act) {
            (Self::Unconfirmed, A::Confirm) | (Self::Open, A::Remake | A::Change) => Ok(Self::Open),
            (Self::Unconfirmed, A::Change) => Ok(Self::Unconfirmed),
            (Self::Unconfirmed | Self::Open, A::End) => Ok(Self::Ended),
            (Self::Open, A::Confirm)
            | (Self::Unconfirmed, A::Remake)
            | (Self::Ended, A::Confirm | A::Remake | A::Change | A::End) => {
                Err(Refused { state: self, act })
            }
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn what_has_ended_never_begins_again() {
        for act in ChannelAct::ALL {
            assert!(ChannelState::Ended.after(*act).is_err(), "{act}");
        }
    }

    #[test]
    fn only_confirming_opens_an_address_and_only_addresses_wait_for_it() {
        for act in ChannelAct::ALL {
            let opens = ChannelState::Unconfirmed.after(*act) == Ok(ChannelState::Open);
            assert_eq!(opens, *act == ChannelAct::Confirm, "{act}");
        }
        let waits = |kind: &&ChannelKind| kind.begins() == ChannelState::Unconfirmed;
        assert_eq!(ChannelKind::ALL.iter().filter(waits).collect::<Vec<_>>(), [&ChannelKind::Mail]);
    }

    #[test]
    fn a_refusal_says_how_the_channel_stands() {
        let refused = ChannelState::Open.after(ChannelAct::Confirm).unwrap_err();
        assert_eq!(refused.to_string(), "this channel is open, so it can't be confirmed");
    }
}
