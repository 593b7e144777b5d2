//! Keys for signing and signed statements about lots.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use spareloop_domain::attest::{KeyId, KeyRecord, PublicKey, Second};
use spareloop_domain::words::{FarmId, LotId, StatementId};
use utoipa::ToSchema;

use crate::people::FarmView;

/// `POST /keys`: makes the public half of a key known as the farm's.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MakeKeyKnown {
    /// The Ed25519 public key in base64url (the `x` of RFC 8037).
    #[schema(value_type = String)]
    pub key: PublicKey,
    /// When it was made, by the farm's clock, in seconds since 1970 UTC.
    #[schema(value_type = u64)]
    pub made_at: Second,
    /// A compact JWS by the key itself, over farm, key and `made_at`.
    pub introduction: String,
    /// The same by an earlier key of the farm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub vouched: Option<String>,
}

/// A key of a farm.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct KeyView {
    /// Its id: the JWK thumbprint (RFC 7638).
    #[schema(value_type = String)]
    pub id: KeyId,
    /// The key as a list of keys holds it, for checking statements without a network.
    #[schema(value_type = Object)]
    pub record: KeyRecord,
}

/// `GET /farms/{farm}/keys`: every key that the farm made known, withdrawn ones too.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct FarmKeys {
    /// Oldest first.
    pub keys: Vec<KeyView>,
}

/// `POST /lots/{lot}/statements`: keeps a signed statement about a lot of the caller's farm.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct KeepStatement {
    /// The compact JWS, at most 8 KiB.
    pub statement: String,
}

/// Whether a statement stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// Its signature holds and the farm stands by it.
    Stands,
    /// A later one stands in its place.
    Superseded,
    /// The farm took it back.
    TakenBack,
    /// It does not hold: don't rely on it.
    DoesNotHold,
}

/// A signed statement: who states what, when, on what basis. Never a verdict.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct StatementView {
    /// Its id, if it can be read.
    #[schema(value_type = Option<String>, format = "uuid")]
    pub statement: Option<StatementId>,
    /// `bench-hygiene`, `soak`, `looked-over`, `laboratory-test`, `origin`, `movement-papers`,
    /// `revocation`, or `unreadable`.
    pub kind: String,
    /// Whether it stands.
    pub standing: Standing,
    /// All of it in words.
    pub sentence: String,
    /// The key that signed it.
    #[schema(value_type = Option<String>)]
    pub key: Option<KeyId>,
    /// When the server took it.
    pub taken_at: Option<DateTime<Utc>>,
    /// The signed text, to be checked by anybody.
    pub compact: String,
}

/// What a farm states about a lot.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Stated {
    /// `no-test`, `tested-none-found` or `tested-found`, of laboratory tests alone.
    pub tested: String,
    /// The same in a sentence.
    pub tested_sentence: String,
    /// Statements that stand, oldest first, then those that don't.
    pub statements: Vec<StatementView>,
    /// What to mind with any of it.
    pub caution: String,
}

/// `GET /lots/{lot}/statements`.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct LotStatements {
    /// The lot.
    #[schema(value_type = String, format = "uuid")]
    pub lot: LotId,
    /// By the farm that states it; nobody states anything about a lot that is not its own.
    pub farms: Vec<FarmStates>,
}

/// What one farm states about a lot.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct FarmStates {
    /// The farm.
    pub farm: FarmView,
    /// What it states.
    pub stated: Stated,
}

/// `GET /statements?after=POSITION&limit=N`: what the network's farms made known, to be kept and
/// checked without a network.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct StatementFeed {
    /// Keys as they stand now; one that was withdrawn comes again.
    #[schema(value_type = Vec<Object>)]
    pub keys: Vec<KeyRecord>,
    /// Statements.
    pub statements: Vec<FeedStatement>,
    /// The names of the network's farms.
    pub farms: Vec<FarmView>,
    /// Everything up to here was given: the next `after`.
    pub position: u64,
    /// Whether more stands behind.
    pub more: bool,
}

/// A statement as it travels.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct FeedStatement {
    /// Whose.
    #[schema(value_type = String, format = "uuid")]
    pub farm: FarmId,
    /// Its id.
    #[schema(value_type = String, format = "uuid")]
    pub statement: StatementId,
    /// About which lot.
    #[schema(value_type = String, format = "uuid")]
    pub lot: LotId,
    /// The compact JWS.
    pub compact: String,
    /// When the server took it, in seconds since 1970 UTC.
    #[schema(value_type = u64)]
    pub taken_at: Second,
}
