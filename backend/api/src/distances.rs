//! Where a farm roughly is, and how far the others are.

use serde::{Deserialize, Serialize};
use spareloop_domain::exchange::Kilometres;
use utoipa::ToSchema;

use crate::people::FarmView;

/// `GET /distances`: where the caller's farm says it is, and how far the network's other farms are.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct DistancesView {
    /// Where the farm says it is, if it does; only itself is shown this.
    pub whereabouts: Option<DegreesView>,
    /// The other farms, nearest first; those of which it isn't known last.
    pub farms: Vec<FarmDistance>,
}

/// A place in degrees, to a twentieth: some five kilometres.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct DegreesView {
    /// The latitude, north positive.
    pub latitude: f64,
    /// The longitude, east positive.
    pub longitude: f64,
}

/// How far a farm is.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct FarmDistance {
    /// The farm.
    pub farm: FarmView,
    /// Over the ground, in whole kilometres, if both have said where they are.
    #[schema(value_type = Option<u16>)]
    pub distance_km: Option<Kilometres>,
}

/// `POST /whereabouts`: says where the caller's farm roughly is; without it, nobody is told any more.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SetWhereabouts {
    /// The place; it is kept to a twentieth of a degree.
    #[serde(default)]
    pub whereabouts: Option<Degrees>,
}

/// A place in degrees.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Degrees {
    /// The latitude, north positive.
    #[schema(minimum = -90, maximum = 90)]
    pub latitude: f64,
    /// The longitude, east positive.
    #[schema(minimum = -180, maximum = 180)]
    pub longitude: f64,
}
