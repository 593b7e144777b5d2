//! Out of store: waking, potting, cuttings, planting, what came up, what was seen.

use serde::{Deserialize, Serialize};

use crate::words::{Count, LotId, UnitKind, VarietyId};

record! {
    /// A lot brought into warmth.
    WakeUp {
        /// Which.
        lot: LotId,
    }
}
record! {
    /// Units potted: they leave one lot and are another.
    PotUp {
        /// Which lot.
        from: LotId,
        /// Units taken.
        taken: Count,
        /// The new lot.
        lot: LotId,
        /// What a unit of it is.
        unit: UnitKind,
        /// How many.
        made: Count,
    }
}
record! {
    /// Cuttings taken; the mother survives.
    TakeCuttings {
        /// The mother lot.
        mother: LotId,
        /// The new lot of rooted cuttings.
        lot: LotId,
        /// How many were made.
        made: Count,
    }
}
record! {
    /// Planted out.
    PlantOut {
        /// Which lot.
        lot: LotId,
        /// How many.
        count: Count,
        /// Where.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        bed: Option<String>,
    }
}
record! {
    /// How many of what was planted came up.
    CameUp {
        /// The lot that was planted.
        lot: LotId,
        /// Planted and looked at.
        planted: Count,
        /// Came up.
        came_up: Count,
    }
}
record! {
    /// Sound divisions that clumps of a variety gave.
    Yield {
        /// The variety.
        variety: VarietyId,
        /// Clumps divided.
        clumps: Count,
        /// Sound divisions.
        divisions: Count,
    }
}
record! {
    /// Something seen in the field.
    FieldObservation {
        /// The lot that was planted there, if known.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        lot: Option<LotId>,
        /// The variety.
        variety: VarietyId,
        /// What was seen.
        text: String,
    }
}
