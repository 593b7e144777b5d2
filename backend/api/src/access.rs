//! Who may call an operation: every operation of the interface carries one of these.

use serde::{Deserialize, Serialize};

/// The access policy of an operation, shown in the OpenAPI document as "x-access".
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Access {
    /// Anybody, signed in or not.
    Anybody,
    /// A signed-in person.
    Person,
    /// A signed-in coordinator.
    Coordinator,
    /// A signed-in person who acts for a farm.
    Grower,
    /// A device of a farm, by its device token; opens the ledger's sync and nothing else.
    Device,
}
