//! From the bed to the bench: opening stock, lifting, washing, dividing, drying.

use serde::{Deserialize, Serialize};

use crate::words::{Count, DiscardReason, LotId, SessionId, UnitKind, VarietyId};

record! {
    /// Stock on hand when the book begins, counted on the entry's day.
    Opening {
        /// The new lot.
        lot: LotId,
        /// Its variety.
        variety: VarietyId,
        /// What a unit is.
        unit: UnitKind,
        /// How many.
        count: Count,
        /// Where it came from, in the grower's words.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        origin: Option<String>,
        /// The label that it bears besides its code, in the grower's spelling.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        label: Option<String>,
    }
}
record! {
    /// Clumps dug.
    Lift {
        /// The new lot.
        lot: LotId,
        /// Its variety.
        variety: VarietyId,
        /// Clumps lifted.
        clumps: Count,
        /// The bed they came from.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        bed: Option<String>,
        /// The label that it bears besides its code, in the grower's spelling.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        label: Option<String>,
        /// The lot that was planted there, so that a trace goes on from it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        planted: Option<LotId>,
    }
}
record! {
    /// Lots washed.
    Wash {
        /// Which.
        lots: Vec<LotId>,
    }
}
record! {
    /// One lot became several.
    ///
    /// With the same unit kind (a split over two boxes) taken = made + discarded. Clumps into
    /// divisions add units of another kind, so there only the pieces must agree, where counted.
    Divide {
        /// The lot that was divided.
        from: LotId,
        /// Units of it used up.
        taken: Count,
        /// The lots made.
        made: Vec<MadeLot>,
        /// Pieces not kept.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        discards: Vec<Discard>,
        /// All pieces, if they were counted: made + discarded.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pieces: Option<Count>,
        /// The dividing session it was part of.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        session: Option<SessionId>,
    }
}
record! {
    /// A lot made by dividing.
    MadeLot {
        /// The new lot.
        lot: LotId,
        /// What a unit is.
        unit: UnitKind,
        /// How many.
        count: Count,
        /// Whether eyes were seen.
        eyes: Eyes,
        /// The label that it bears besides its code, in the grower's spelling.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        label: Option<String>,
    }
}
/// Whether eyes were seen on the units of a lot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Eyes {
    /// Every unit shows an eye.
    Eyed,
    /// No eye seen yet; some varieties show them only in spring.
    NotYetEyed,
    /// Not noted.
    NotNoted,
}
record! {
    /// Pieces not kept.
    Discard {
        /// Why.
        reason: DiscardReason,
        /// How many.
        count: Count,
    }
}
record! {
    /// One sitting at the dividing bench.
    BenchSession {
        /// Its id, named by the divides of that sitting.
        session: SessionId,
        /// The lots cut.
        lots: Vec<LotId>,
        /// What was done with the tools between clumps.
        tools: ToolsBetweenClumps,
        /// The tool dip.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        tool_dip: Option<Solution>,
        /// The tuber soak.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        soak: Option<Solution>,
        /// Sets of tools used in turn, one in the dip while another cuts.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        tool_sets: Option<u8>,
        /// When the last cut was made, as `HH:MM`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        until: Option<String>,
    }
}
/// What was done with the tools between clumps.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ToolsBetweenClumps {
    /// Disinfected between clumps.
    Disinfected,
    /// Not disinfected between clumps: every lot of the sitting touched every other.
    NotDisinfected,
    /// Not noted, which a trace takes as not disinfected.
    NotNoted,
}
record! {
    /// A solution as used: a tool dip and a tuber soak are two, never carried over.
    Solution {
        /// What it was, as on the label.
        agent: String,
        /// Active strength in percent, if known.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        strength_percent: Option<f64>,
        /// Minutes in it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        minutes: Option<f64>,
        /// When it was made up, as `HH:MM`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        made_up: Option<String>,
        /// The most that the label allows for this use, in percent, if noted.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        label_percent: Option<f64>,
    }
}
record! {
    /// Lots dried before storing.
    Dry {
        /// Which.
        lots: Vec<LotId>,
        /// For how many days.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        days: Option<u16>,
    }
}
