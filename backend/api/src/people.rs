//! Set-up, sign-in, networks, invitations, devices.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use spareloop_domain::words::{Day, DeviceId, FarmId, InvitationId, NetworkId, PersonId};
use utoipa::ToSchema;

/// A secret on its way: never printed by `Debug`.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(transparent)]
pub struct Secret(pub String);

impl std::fmt::Debug for Secret {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Secret(…)")
    }
}

/// `POST /set-up`: the one-time link makes the first coordinator.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SetUp {
    /// The token of the link.
    pub token: Secret,
    /// The name to sign in with.
    pub login: String,
    /// What people call you.
    pub display_name: String,
    /// 15 characters or more.
    pub password: Secret,
}

/// `POST /sign-in`.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SignIn {
    /// The name to sign in with.
    pub login: String,
    /// The password.
    pub password: Secret,
    /// For a coordinator: a farm on paper, which consented. The sign-in is that farm's and no other's, and
    /// ends with the consent.
    #[serde(default)]
    #[schema(value_type = Option<String>, format = "uuid")]
    pub acting_for: Option<FarmId>,
}

/// `POST /farms-on-paper`: a farm that keeps its books on paper consented that the coordinator acts for it.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MakeFarmOnPaper {
    /// The farm's id, made by the client before it is sent.
    #[schema(value_type = String, format = "uuid")]
    pub farm: FarmId,
    /// Its name; " (on paper)" is shown with it.
    pub name: String,
    /// Who consented for the farm.
    pub consent_by: String,
    /// How: by a signed note, at a meeting, on the telephone.
    pub consent_how: String,
    /// On which day.
    #[schema(value_type = String, format = "date")]
    pub consent_on: Day,
}

/// A farm on paper.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct FarmOnPaperView {
    /// Which.
    pub farm: FarmView,
    /// Who consented for it.
    pub consent_by: String,
    /// How.
    pub consent_how: String,
    /// On which day.
    #[schema(value_type = String, format = "date")]
    pub consent_on: Day,
    /// When the consent was taken back.
    pub ended_at: Option<DateTime<Utc>>,
    /// How often somebody began to act for it.
    pub sign_ins: u64,
}

/// `POST /refresh`: the old refresh token for new ones.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Refresh {
    /// The refresh token last given.
    pub refresh_token: Secret,
}

/// Tokens of a sign-in.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Tokens {
    /// Goes into `Authorization: Bearer`.
    pub access_token: Secret,
    /// Seconds until it stops working.
    pub expires_in: u64,
    /// Works once, for the next pair.
    pub refresh_token: Secret,
}

/// What a person is in the network.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Runs the network.
    Coordinator,
    /// Acts for a farm.
    Grower,
}

/// `GET /me`.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Me {
    /// The person.
    #[schema(value_type = String, format = "uuid")]
    pub person: PersonId,
    /// The name to sign in with.
    pub login: String,
    /// What people call them.
    pub display_name: String,
    /// Their part.
    pub role: Role,
    /// Their network, once there is one.
    pub network: Option<NetworkView>,
    /// The farm they act for.
    pub farm: Option<FarmView>,
}

/// A network.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct NetworkView {
    /// Its id.
    #[schema(value_type = String, format = "uuid")]
    pub id: NetworkId,
    /// Its name.
    pub name: String,
}

/// A farm, as its network sees it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct FarmView {
    /// Its id.
    #[schema(value_type = String, format = "uuid")]
    pub id: FarmId,
    /// Its name.
    pub name: String,
}

/// `POST /networks`, by a coordinator who has none yet.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MakeNetwork {
    /// Its name, 1 to 80 characters.
    pub name: String,
}

/// `POST /invitations`, by a coordinator.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Invite {
    /// Who it is for, to tell invitations apart.
    pub for_whom: String,
}

/// An invitation just made. The code is shown once and kept only as a hash.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct InvitationMade {
    /// Its id.
    #[schema(value_type = String, format = "uuid")]
    pub id: InvitationId,
    /// Who it is for.
    pub for_whom: String,
    /// The single-use code.
    pub code: Secret,
    /// When it stops working.
    pub expires_at: DateTime<Utc>,
}

/// An invitation as the coordinator sees it later.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct InvitationView {
    /// Its id.
    #[schema(value_type = String, format = "uuid")]
    pub id: InvitationId,
    /// Who it is for.
    pub for_whom: String,
    /// When it stops working.
    pub expires_at: DateTime<Utc>,
    /// When it was used.
    pub used_at: Option<DateTime<Utc>>,
}

/// `POST /join`: a farm joins by invitation.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Join {
    /// The invitation's code.
    pub code: Secret,
    /// The name to sign in with.
    pub login: String,
    /// What people call you.
    pub display_name: String,
    /// 15 characters or more.
    pub password: Secret,
    /// The farm's id, made by the client; a farm without a client leaves it out.
    #[schema(value_type = Option<String>, format = "uuid")]
    pub farm: Option<FarmId>,
    /// The farm's name.
    pub farm_name: String,
}

/// `POST /devices`: makes a device of the caller's farm known.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RegisterDevice {
    /// The device's id, made by the client.
    #[schema(value_type = String, format = "uuid")]
    pub device: DeviceId,
    /// Whose ledger the device keeps: checked against the caller's farm before any entry travels.
    #[schema(value_type = String, format = "uuid")]
    pub farm: FarmId,
    /// "laptop in the house".
    pub name: String,
}

/// A device just made known. The token is shown once and kept only as a hash.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct DeviceRegistered {
    /// The device.
    #[schema(value_type = String, format = "uuid")]
    pub device: DeviceId,
    /// Opens the ledger's sync for this device.
    pub device_token: Secret,
}

/// A device of the caller's farm.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct DeviceView {
    /// Its id.
    #[schema(value_type = String, format = "uuid")]
    pub device: DeviceId,
    /// Its name.
    pub name: String,
    /// When it was made known.
    pub registered_at: DateTime<Utc>,
    /// When it was shut out.
    pub shut_out_at: Option<DateTime<Utc>>,
}
