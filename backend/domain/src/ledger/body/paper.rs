//! On paper: plans, what is known of a variety, strike-outs.

use serde::{Deserialize, Serialize};

use crate::words::{
    Count, Day, EntryId, Identity, Intention, Protection, UnitKind, VarietyId, VarietyName,
};

record! {
    /// How many plants are wanted of a variety. The newest plan for a variety and unit kind holds.
    Plan {
        /// The variety.
        variety: VarietyId,
        /// From what kind of unit.
        unit: UnitKind,
        /// Plants wanted in the ground.
        plants_wanted: Count,
        /// The planting day.
        planting: Day,
        /// Kept back beyond own need; else the farm's rule.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        keep_back: Option<Count>,
        /// How sure to be, strictly between 0 and 1; else the farm's rule.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        service_level: Option<f64>,
    }
}
record! {
    /// What is known of a variety. The first names it; what a later note leaves out stays.
    VarietyNote {
        /// Its id.
        variety: VarietyId,
        /// Its name.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        name: Option<VarietyName>,
        /// Names it goes by besides.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        aliases: Option<Vec<VarietyName>>,
        /// Form code.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        form: Option<String>,
        /// Size class.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        size: Option<String>,
        /// Colour class.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        colour: Option<String>,
        /// Whether the name is sure.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        identity: Option<Identity>,
        /// Whether it is protected.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        protection: Option<Protection>,
        /// What the farm means to do with it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        intention: Option<Intention>,
        /// Keeping quality, traits and the like, in words.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        text: Option<String>,
    }
}
record! {
    /// Strikes out an earlier entry; both stay in the history.
    Void {
        /// The entry struck out.
        entry: EntryId,
        /// Why.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        why: Option<String>,
    }
}

impl VarietyNote {
    /// The note that first names a variety.
    pub fn naming(variety: VarietyId, name: VarietyName) -> Self {
        Self { name: Some(name), ..Self::about(variety) }
    }

    /// A note that says nothing yet.
    pub const fn about(variety: VarietyId) -> Self {
        Self {
            variety,
            name: None,
            aliases: None,
            form: None,
            size: None,
            colour: None,
            identity: None,
            protection: None,
            intention: None,
            text: None,
        }
    }
}
