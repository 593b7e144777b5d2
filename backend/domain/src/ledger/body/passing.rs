//! Between farms: received, sent, coming.

use serde::{Deserialize, Serialize};

use crate::words::{ComingId, Count, Day, FarmId, HandOverId, LotId, Purpose, UnitKind, VarietyId};

record! {
    /// Stock that came in.
    Receive {
        /// The new lot.
        lot: LotId,
        /// Its variety, as the receiving farm keeps it.
        variety: VarietyId,
        /// What a unit is.
        unit: UnitKind,
        /// Units received.
        count: Count,
        /// From whom, in words.
        from: String,
        /// From which farm of the network.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        from_farm: Option<FarmId>,
        /// The sender's lot.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        from_lot: Option<LotId>,
        /// The hand-over it came by.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        hand_over: Option<HandOverId>,
        /// The coming stock that it fulfils.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        coming: Option<ComingId>,
        /// Condition on arrival, in words.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        condition: Option<String>,
    }
}
record! {
    /// Stock that went out.
    Send {
        /// Which lot.
        lot: LotId,
        /// How many.
        count: Count,
        /// What for.
        purpose: Purpose,
        /// To whom, in words.
        to: String,
        /// To which farm of the network.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        to_farm: Option<FarmId>,
        /// The hand-over it went by.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        hand_over: Option<HandOverId>,
    }
}
record! {
    /// Stock on order or agreed. Noted again with the same id, the newer statement holds.
    Coming {
        /// Its id.
        coming: ComingId,
        /// The variety.
        variety: VarietyId,
        /// What a unit is.
        unit: UnitKind,
        /// How many are still to come; 0 says that none will.
        count: Count,
        /// From whom.
        from: String,
        /// When it should be here.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        expected: Option<Day>,
    }
}
