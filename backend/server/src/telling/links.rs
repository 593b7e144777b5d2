//! The secrets in addresses and letters.
//!
//! All come from the server's own secret and a number. A feed's number is kept nowhere but with the
//! act that made it, so that a repeated request gives the same address; its hash is kept. Those of a
//! letter come from the channel's id: whoever reads a letter may end what is sent there, without a
//! sign-in. They stand in the query, which no log of ours holds.

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use spareloop_domain::telling::ChannelKind;
use spareloop_domain::words::ChannelId;
use uuid::Uuid;

use crate::house::House;
use crate::keys::{Keys, Purpose, same_secret};

fn text(keys: &Keys, purpose: Purpose, number: Uuid) -> String {
    URL_SAFE_NO_PAD.encode(keys.derive(purpose, number))
}

/// The secret of a feed's or calendar's address.
pub fn fetch_token(keys: &Keys, number: Uuid) -> String {
    text(keys, Purpose::Fetching, number)
}

/// The address of a feed or calendar.
pub fn fetch_address(house: &House, kind: ChannelKind, token: &str) -> Option<String> {
    let path = match kind {
        ChannelKind::Feed => "feed.atom",
        ChannelKind::Calendar => "calendar.ics",
        ChannelKind::Mail | ChannelKind::Webhook => return None,
    };
    Some(format!("{}/{path}?token={token}", house.reached.url))
}

/// The secret that a webhook's calls are signed with, as its receiver keeps it.
pub fn webhook_secret(keys: &Keys, number: Uuid) -> String {
    text(keys, Purpose::Webhook, number)
}

/// What a link in a letter does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LetterLink {
    /// Confirms the address.
    Confirm,
    /// Ends the letters.
    End,
}

impl LetterLink {
    const fn purpose(self) -> Purpose {
        match self {
            Self::Confirm => Purpose::ConfirmLetters,
            Self::End => Purpose::EndLetters,
        }
    }

    /// Where it leads.
    pub fn address(self, house: &House, channel: ChannelId) -> String {
        let path = match self {
            Self::Confirm => "confirm",
            Self::End => "end",
        };
        let token = text(&house.keys, self.purpose(), channel.uuid());
        format!("{}/letters/{path}?channel={channel}&token={token}", house.reached.url)
    }

    /// Whether the secret is that of a letter to the channel.
    pub fn opens(self, keys: &Keys, channel: ChannelId, token: &str) -> bool {
        let expected = text(keys, self.purpose(), channel.uuid());
        same_secret(expected.as_bytes(), token.as_bytes())
    }
}
