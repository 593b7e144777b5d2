//! Channels by which a farm is told things: e-mail, signed webhooks, a feed, a calendar.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use spareloop_domain::telling::{ChannelKind, ChannelState, Takes};
use spareloop_domain::words::ChannelId;
use utoipa::ToSchema;

use crate::people::Secret;

/// `POST /channels`: adds a channel.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(tag = "kind", rename_all = "kebab-case", deny_unknown_fields)]
pub enum AddChannel {
    /// Letters, once the owner of the address has followed the link that is sent there.
    Mail {
        /// The address.
        address: String,
        /// `messages`, `digest` or `both`; `messages` unless told.
        #[serde(default = "every_message")]
        #[schema(value_type = String)]
        takes: Takes,
    },
    /// Signed calls: an HTTPS address of the open internet.
    Webhook {
        /// What is called.
        url: String,
    },
    /// An Atom feed of what the farm is told.
    Feed {},
    /// A calendar of what the farm has to mind.
    Calendar {},
}

const fn every_message() -> Takes {
    Takes::Messages
}

/// `POST /channels/{channel}/change`: changes what a channel of e-mail brings.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ChangeChannel {
    /// `messages`, `digest` or `both`.
    #[schema(value_type = String)]
    pub takes: Takes,
}

/// `GET /channels`.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Channels {
    /// Whether this server sends letters.
    pub mail: MailService,
    /// The farm's channels, oldest first; those that ended stay for a month.
    pub channels: Vec<ChannelView>,
}

/// Whether a server sends letters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum MailService {
    /// It does.
    SetUp,
    /// Nobody set it up for that; everything else works.
    NotSetUp,
}

/// A channel as its farm sees it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ChannelView {
    /// Its id.
    #[schema(value_type = String, format = "uuid")]
    pub channel: ChannelId,
    /// `mail`, `webhook`, `feed` or `calendar`.
    #[schema(value_type = String)]
    pub kind: ChannelKind,
    /// The address of e-mail, or what is called; none for feeds and calendars, whose address is shown
    /// once.
    pub target: Option<String>,
    /// What a channel of e-mail brings: `messages`, `digest` or `both`.
    #[schema(value_type = Option<String>)]
    pub takes: Option<Takes>,
    /// `unconfirmed`, `open` or `ended`.
    #[schema(value_type = String)]
    pub state: ChannelState,
    /// When it was made.
    pub made_at: DateTime<Utc>,
    /// When it ended.
    pub ended_at: Option<DateTime<Utc>>,
    /// Why it ended, in words.
    pub ended_why: Option<String>,
    /// How much is still to be brought.
    pub waiting: u32,
    /// How much was given up, of the last 30 days.
    pub given_up: u32,
    /// When something was last brought.
    pub delivered_at: Option<DateTime<Utc>>,
    /// How the last try went that failed, of what waits or was given up.
    pub trouble: Option<String>,
}

/// A channel that was just made or remade. What opens it is shown this once.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct ChannelMade {
    /// The channel.
    pub channel: ChannelView,
    /// The address of a feed or calendar: whoever knows it can read it.
    #[schema(value_type = Option<String>)]
    pub address: Option<Secret>,
    /// The secret that a webhook's calls are signed with.
    #[schema(value_type = Option<String>)]
    pub secret: Option<Secret>,
}
