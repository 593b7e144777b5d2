//! A channel as it is kept.

use std::fmt;
use std::str::FromStr;

use chrono::{DateTime, NaiveDateTime, Utc};
use diesel::Queryable;
use spareloop_domain::telling::{ChannelKind, ChannelState, MailAddress, Takes};
use spareloop_domain::words::{ChannelId, FarmId};
use uuid::Uuid;

use crate::text::{read, read_some};
use crate::{Named, StoreError};

/// What a channel leads to.
#[derive(Clone, PartialEq, Eq)]
pub enum Target {
    /// Letters.
    Mail {
        /// To whom.
        address: MailAddress,
        /// Which.
        takes: Takes,
    },
    /// Signed calls.
    Webhook {
        /// What is called.
        url: String,
        /// From this number comes the secret that they are signed with.
        secret_number: Uuid,
    },
    /// A feed under a secret address.
    Feed,
    /// A calendar under a secret address.
    Calendar,
}

impl Target {
    /// Its kind.
    pub const fn kind(&self) -> ChannelKind {
        match self {
            Self::Mail { .. } => ChannelKind::Mail,
            Self::Webhook { .. } => ChannelKind::Webhook,
            Self::Feed => ChannelKind::Feed,
            Self::Calendar => ChannelKind::Calendar,
        }
    }
}

impl fmt::Debug for Target {
    /// Without addresses: logs are no address book, and a webhook's may hold a secret.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}(…)", self.kind().code())
    }
}

/// Why a channel was ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EndedWhy {
    /// The farm took it back.
    ByFarm,
    /// Whoever reads the letters wants no more of them.
    ByReader,
    /// Nobody confirmed the address in time.
    NotConfirmed,
    /// The webhook's own server said that it is gone.
    Gone,
}

impl EndedWhy {
    const ALL: [Self; 4] = [Self::ByFarm, Self::ByReader, Self::NotConfirmed, Self::Gone];

    pub(super) const fn code(self) -> &'static str {
        match self {
            Self::ByFarm => "by-farm",
            Self::ByReader => "by-reader",
            Self::NotConfirmed => "not-confirmed",
            Self::Gone => "gone",
        }
    }
}

impl fmt::Display for EndedWhy {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::ByFarm => "the farm ended it",
            Self::ByReader => "whoever reads the letters ended it",
            Self::NotConfirmed => "nobody confirmed the address in time",
            Self::Gone => "the webhook's server said that it is gone",
        })
    }
}

/// A reason that this version doesn't know.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a channel ended for a reason that this version doesn't know")]
pub struct UnknownReason;

impl FromStr for EndedWhy {
    type Err = UnknownReason;
    fn from_str(text: &str) -> Result<Self, UnknownReason> {
        Self::ALL.into_iter().find(|why| why.code() == text).ok_or(UnknownReason)
    }
}

/// A channel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Channel {
    /// Its id.
    pub id: ChannelId,
    /// Whose.
    pub farm: FarmId,
    /// What it leads to.
    pub target: Target,
    /// How it stands.
    pub state: ChannelState,
    /// When it was made.
    pub made_at: DateTime<Utc>,
    /// When it ended and why.
    pub ended: Option<(DateTime<Utc>, EndedWhy)>,
}

/// Whose feed or calendar a secret address opens.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fetched {
    /// Which channel.
    pub channel: ChannelId,
    /// When it was made.
    pub made_at: DateTime<Utc>,
    /// Whose.
    pub farm: Named<FarmId>,
    /// The farm's network.
    pub network: String,
}

/// How what is brought over a channel stands.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Standing {
    /// Still to be brought.
    pub waiting: u32,
    /// Given up.
    pub given_up: u32,
    /// When the last was brought.
    pub delivered_at: Option<DateTime<Utc>>,
    /// How the last try went that failed, of those waiting or given up.
    pub trouble: Option<String>,
}

#[derive(Queryable)]
pub(super) struct ChannelRow {
    id: String,
    farm: String,
    kind: String,
    target: Option<String>,
    takes: Option<String>,
    _token_hash: Option<String>,
    secret_number: Option<String>,
    state: String,
    made_at: NaiveDateTime,
    _confirmed_at: Option<NaiveDateTime>,
    ended_at: Option<NaiveDateTime>,
    ended_why: Option<String>,
    _next_digest_at: Option<NaiveDateTime>,
}

impl TryFrom<ChannelRow> for Channel {
    type Error = StoreError;
    fn try_from(row: ChannelRow) -> Result<Self, StoreError> {
        let ended_why: Option<EndedWhy> = read_some(row.ended_why.as_deref())?;
        Ok(Self {
            id: read(&row.id)?,
            farm: read(&row.farm)?,
            target: target(
                read(&row.kind)?,
                row.target,
                row.takes.as_deref(),
                row.secret_number.as_deref(),
            )?,
            state: read(&row.state)?,
            made_at: row.made_at.and_utc(),
            ended: row.ended_at.map(|at| at.and_utc()).zip(ended_why),
        })
    }
}

pub(super) fn target(
    kind: ChannelKind,
    target: Option<String>,
    takes: Option<&str>,
    secret_number: Option<&str>,
) -> Result<Target, StoreError> {
    let lacking = || StoreError::corrupt("a channel leads nowhere");
    Ok(match kind {
        ChannelKind::Mail => Target::Mail {
            address: read(&target.ok_or_else(lacking)?)?,
            takes: read(takes.ok_or_else(lacking)?)?,
        },
        ChannelKind::Webhook => Target::Webhook {
            url: target.ok_or_else(lacking)?,
            secret_number: read(secret_number.ok_or_else(lacking)?)?,
        },
        ChannelKind::Feed => Target::Feed,
        ChannelKind::Calendar => Target::Calendar,
    })
}
