//! How what was agreed travels.

use serde::{Deserialize, Serialize};
use spareloop_domain::exchange::parcel::{FrostBorneBy, Post};
use spareloop_domain::words::{Day, FarmId};
use utoipa::ToSchema;

/// `POST /holds/{hold}/parcel`: proposes how an agreed hold travels.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ProposeParcel {
    /// Who pays the post: `giver`, `taker`, `halves`.
    #[schema(value_type = String)]
    pub post: Post,
    /// Who bears it if it freezes on the way: `giver` (what came frozen is not owed for) or `taker` (what was
    /// given is).
    #[schema(value_type = String)]
    pub frost: FrostBorneBy,
    /// The first day on which it may leave, for the frost at its destination.
    #[serde(default)]
    #[schema(value_type = Option<String>, format = "date")]
    pub not_before: Option<Day>,
}

/// `POST /holds/{hold}/parcel/pause`: pauses a parcel, or lifts one's own pause.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PauseParcel {
    /// The last day of the pause; without it, the pause is lifted.
    #[serde(default)]
    #[schema(value_type = Option<String>, format = "date")]
    pub until: Option<Day>,
    /// Why, in words.
    #[serde(default)]
    pub why: String,
}

/// A parcel as its two farms see it.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct ParcelView {
    /// `proposed`, `agreed`, `packed`, `sent`, `arrived`, `lost`, `frozen`.
    pub state: String,
    /// Who pays the post.
    #[schema(value_type = String)]
    pub post: Post,
    /// Who bears freezing.
    #[schema(value_type = String)]
    pub frost: FrostBorneBy,
    /// The first day on which it may leave.
    #[schema(value_type = Option<String>, format = "date")]
    pub not_before: Option<Day>,
    /// Which farm proposed the terms.
    #[schema(value_type = String, format = "uuid")]
    pub terms_by: FarmId,
    /// The last day of a pause.
    #[schema(value_type = Option<String>, format = "date")]
    pub paused_until: Option<Day>,
    /// Which farm paused it, and may lift it.
    #[schema(value_type = Option<String>, format = "uuid")]
    pub paused_by: Option<FarmId>,
    /// Why it is paused.
    pub pause_why: String,
}
