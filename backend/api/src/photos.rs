//! Photos beside offers, holds and claims.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use spareloop_domain::words::PhotoId;
use utoipa::ToSchema;

use crate::people::FarmView;

/// A photo, without its picture (`GET /photos/{photo}`).
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct PhotoView {
    /// Its id.
    #[schema(value_type = String, format = "uuid")]
    pub photo: PhotoId,
    /// Who put it there.
    pub farm: FarmView,
    /// In pixels.
    pub width: u32,
    /// In pixels.
    pub height: u32,
    /// When it was put there.
    pub made_at: DateTime<Utc>,
}
