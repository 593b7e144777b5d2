//! The trade's words as types, so that a wrong state can't be written down.
//!
//! Ids, counts, days and names are newtypes; kinds and causes are enums. Nothing here knows of
//! entries, forecasts or offers.

mod count;
mod day;
mod ids;
mod name_advice;
mod names;
mod place;
mod season;
mod stock;
mod time;
mod variety;

pub use count::{Count, CountError};
pub use day::{Day, DayError};
pub use ids::{
    ChannelId, ClaimId, ComingId, DeliveryId, DeviceId, EntryId, FarmId, HandOverId, HoldId,
    IdError, InvitationId, LotId, MessageId, NetworkId, OfferId, PaymentId, PersonId, PhotoId,
    ProposalId, QuestionId, RoundId, SessionId, StatementId, TurnId, VarietyId, WantId, uuid_v7,
};
pub use name_advice::NameAdvice;
pub use names::{NameError, VarietyName, fold_key, near_misses};
pub use place::{Packing, Place, PlaceError};
pub use season::{Season, SeasonError};
pub use stock::{DiscardReason, Look, LossCause, Purpose, UnitKind, UnknownWord};
pub(crate) use stock::{plain, word};
pub use time::{TimeOfDay, TimeOfDayError};
pub use variety::{Identity, Intention, Protection, VarietyCard};
