//! Identifiers: one newtype a thing, so that a lot's id can't be passed where a hold's is meant.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use uuid::{Builder, Uuid};

/// A text that should have been an id and isn't.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{text:?} is not an id of a {of}")]
pub struct IdError {
    /// What kind of thing the id was to name.
    pub of: &'static str,
    /// What was given.
    pub text: String,
}

/// Makes a UUID version 7 (RFC 9562) from a wall time in milliseconds and ten random bytes.
///
/// Time and randomness are arguments, because this crate has neither.
///
/// ```
/// let id = spareloop_domain::words::uuid_v7(1_760_000_000_000, [7; 10]);
/// assert_eq!(id.get_version_num(), 7);
/// ```
pub fn uuid_v7(millis: u64, random: [u8; 10]) -> Uuid {
    Builder::from_unix_timestamp_millis(millis, &random).into_uuid()
}

macro_rules! id {
    ($(#[$doc:meta])* $name:ident, $of:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(Uuid);

        impl $name {
            /// Wraps a UUID.
            pub const fn new(id: Uuid) -> Self {
                Self(id)
            }
            /// The UUID inside.
            pub const fn uuid(self) -> Uuid {
                self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.hyphenated().fmt(f)
            }
        }

        impl FromStr for $name {
            type Err = IdError;
            fn from_str(text: &str) -> Result<Self, IdError> {
                Uuid::try_parse(text)
                    .map(Self)
                    .map_err(|_| IdError { of: $of, text: text.to_owned() })
            }
        }
    };
}

id!(/// A farm.
    FarmId, "farm");
id!(/// One device of a farm: a laptop, a phone, or the house device that the server keeps.
    DeviceId, "device");
id!(/// One ledger entry.
    EntryId, "ledger entry");
id!(/// A lot: stock of one variety, unit kind, origin and storage history.
    LotId, "lot");
id!(/// A variety, as one farm keeps it.
    VarietyId, "variety");
id!(/// One sitting at the dividing bench.
    SessionId, "dividing session");
id!(/// Stock on order or agreed, not yet here.
    ComingId, "coming stock");
id!(/// A network of farms.
    NetworkId, "network");
id!(/// A person with a sign-in.
    PersonId, "person");
id!(/// An invitation to a network.
    InvitationId, "invitation");
id!(/// Published spare.
    OfferId, "offer");
id!(/// Published short.
    WantId, "want");
id!(/// A promise of a count until a time.
    HoldId, "hold");
id!(/// The physical passing of stock.
    HandOverId, "hand-over");
id!(/// One run of matching over a network.
    RoundId, "round");
id!(/// A loop or a swap day that a round proposes to its farms.
    ProposalId, "proposal");
id!(/// What a taker says is wrong with what arrived.
    ClaimId, "claim");
id!(
    /// A payment that was noted.
    PaymentId, "payment");
id!(
    /// A photo beside an offer, a hold or a claim.
    PhotoId, "photo");
id!(
    /// A question to a giver: own need or the promise.
    QuestionId, "question");
id!(/// A turn in the line for an offer of which nothing is free.
    TurnId, "turn");
id!(/// A signed statement about a lot.
    StatementId, "signed statement");
id!(/// Something a farm is told.
    MessageId, "message");
id!(/// A way by which a farm is told things: e-mail, a webhook, a feed, a calendar.
    ChannelId, "channel");
id!(/// Something to be brought over a channel, once.
    DeliveryId, "delivery");

/// Letters and digits that read aloud and by hand without confusion (no 0 O 1 I L U V 5 S 2 Z 8 B).
const CODE_LETTERS: &[u8; 23] = b"34679ACDEFGHJKMNPQRTWXY";

impl LotId {
    /// The five-character code that goes on the tuber in pencil.
    ///
    /// Derived from the id (SHA-256), so that every device and label agrees without asking.
    /// 23⁵ ≈ 6.4 million codes; a client draws a lot's id again while its code is taken on the farm.
    ///
    /// ```
    /// use spareloop_domain::words::{LotId, uuid_v7};
    /// assert_eq!(LotId::new(uuid_v7(0, [0; 10])).code().len(), 5);
    /// ```
    pub fn code(self) -> String {
        let digest = Sha256::digest(self.0.as_bytes());
        digest
            .iter()
            .take(5)
            .map(|byte| char::from(CODE_LETTERS[usize::from(*byte) % CODE_LETTERS.len()]))
            .collect()
    }
}
