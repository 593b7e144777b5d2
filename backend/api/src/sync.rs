//! The ledger's sync: summary, push, pull.

use serde::{Deserialize, Serialize};
use spareloop_domain::ledger::sync::BatchLimits;
use spareloop_domain::ledger::{Entry, Hash, Seq};
use spareloop_domain::words::{DeviceId, EntryId, FarmId};
use utoipa::ToSchema;

use crate::problem::ProblemCode;

/// What one push or page carries at most: entries, and bytes of their JSON.
pub const BATCH: BatchLimits = BatchLimits { entries: MOST_ENTRIES, bytes: 1024 * 1024 };
/// Most entries in one push or page.
pub const MOST_ENTRIES: usize = 500;

/// `GET /ledger/summary`: what the server holds of the device's farm.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Summary {
    /// Changes when the server was restored from an older backup.
    pub epoch: String,
    /// Whose ledger.
    #[schema(value_type = String, format = "uuid")]
    pub farm: FarmId,
    /// The position of the newest entry; 0 while there is none.
    pub position: u64,
    /// The end of every device's chain.
    pub heads: Vec<Head>,
    /// Changes whenever what is promised of the farm's lots does: then `GET /stock` has news.
    pub promised: String,
    /// Changes whenever the network's market does: then `GET /network/values` has news.
    #[serde(default)]
    pub market: Option<String>,
    /// Changes whenever what the farm is told of the others does: then `GET /network/summary` has
    /// news. Absent while there is nothing to tell.
    #[serde(default)]
    pub network: Option<String>,
    /// The position of the network's newest key or statement: above what was fetched, then
    /// `GET /statements` has news.
    #[serde(default)]
    pub statements: u64,
}

/// The end of a device's chain.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Head {
    /// The device.
    #[schema(value_type = String, format = "uuid")]
    pub device: DeviceId,
    /// Its last place.
    #[schema(value_type = u64)]
    pub seq: Seq,
    /// The hash there.
    #[schema(value_type = String)]
    pub hash: Hash,
}

/// `POST /ledger/entries`: entries of any devices of the farm, each device's in order.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Push {
    /// At most [`MOST_ENTRIES`].
    #[schema(value_type = Vec<Object>)]
    pub entries: Vec<Entry>,
}

/// How far a push got. What was accepted is durable.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Pushed {
    /// The server's epoch.
    pub epoch: String,
    /// The position of the newest entry afterwards. What was stored stands at the last `stored`
    /// positions, in the order in which it was sent.
    pub position: u64,
    /// When it was stored by the server's clock, in milliseconds since 1970 UTC.
    pub taken_at: u64,
    /// Entries newly stored.
    pub stored: u64,
    /// Entries that were here already, byte for byte.
    pub already_here: u64,
    /// The ends of the chains afterwards.
    pub heads: Vec<Head>,
    /// Entries that were refused; what follows them in their chain was not taken.
    pub refused: Vec<RefusedEntry>,
}

/// An entry that was refused.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct RefusedEntry {
    /// The entry.
    #[schema(value_type = String, format = "uuid")]
    pub id: EntryId,
    /// Its device.
    #[schema(value_type = String, format = "uuid")]
    pub device: DeviceId,
    /// Its place.
    #[schema(value_type = u64)]
    pub seq: Seq,
    /// Why: `fork`, `gap`, `broken-chain`, `wrong-farm`, `device-unknown`, `refused`.
    pub code: ProblemCode,
    /// In words.
    pub detail: String,
}

/// `GET /ledger/entries?after=POSITION&limit=N`: a page of the farm's entries in order of position.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Page {
    /// The server's epoch.
    pub epoch: String,
    /// The entries, positions without gaps.
    pub entries: Vec<Positioned>,
    /// Whether more stand behind.
    pub more: bool,
}

/// An entry at its position in the farm's feed.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct Positioned {
    /// 1, 2, 3 ... per farm.
    pub position: u64,
    /// When the server took it, by its clock, in milliseconds since 1970 UTC. An entry whose own
    /// stamp lies more than a day ahead of that is shown as such and moves nobody's clock.
    pub taken_at: u64,
    /// The entry.
    #[schema(value_type = Object)]
    pub entry: Entry,
}
