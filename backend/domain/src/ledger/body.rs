//! What an entry says, one struct a kind.
//!
//! A body is stored as a JSON object with its version in `v`. A reader takes every version it
//! knows; a kind or version that it doesn't know is kept whole as [`Body::Newer`].

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::words::{
    ComingId, Count, Day, DiscardReason, EntryId, FarmId, HandOverId, Identity, Intention, Look,
    LossCause, LotId, Packing, Place, Protection, Purpose, SessionId, UnitKind, VarietyId,
    VarietyName,
};

/// A body that is not what its kind promises.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("an entry of kind {kind:?} can't be read: {why}")]
pub struct BodyError {
    /// The kind's code.
    pub kind: String,
    /// What is wrong, from the reader.
    pub why: String,
}

/// The version of every body that this program writes.
pub const VERSION: u64 = 1;

macro_rules! bodies {
    ($($(#[$doc:meta])* $kind:ident = $code:literal, $people:literal;)+) => {
        /// What an entry says.
        #[derive(Debug, Clone, PartialEq)]
        pub enum Body {
            $($(#[$doc])* $kind($kind),)+
            /// Noted by a newer version: kept, passed on and shown as that.
            Newer {
                /// The kind's code.
                kind: String,
                /// The body as it came.
                body: Value,
            },
        }

        impl Body {
            /// The code of every kind that this version knows.
            pub const KINDS: &'static [&'static str] = &[$($code,)+];

            /// The kind's code.
            pub fn kind(&self) -> &str {
                match self {
                    $(Self::$kind(_) => $code,)+
                    Self::Newer { kind, .. } => kind,
                }
            }

            /// The kind in words for people.
            pub fn spoken(&self) -> &str {
                match self {
                    $(Self::$kind(_) => $people,)+
                    Self::Newer { .. } => "noted by a newer version",
                }
            }

            /// The body as JSON, with its version.
            pub fn to_json(&self) -> Value {
                match self {
                    $(Self::$kind(body) => with_version(body),)+
                    Self::Newer { body, .. } => body.clone(),
                }
            }

            /// Reads a body of the given kind.
            pub fn from_json(kind: &str, body: &Value) -> Result<Self, BodyError> {
                if body.get("v").and_then(Value::as_u64) != Some(VERSION) {
                    return Ok(Self::Newer { kind: kind.to_owned(), body: body.clone() });
                }
                match kind {
                    $($code => read::<$kind>(kind, body).map(Self::$kind),)+
                    _ => Ok(Self::Newer { kind: kind.to_owned(), body: body.clone() }),
                }
            }
        }

        $(impl From<$kind> for Body {
            fn from(body: $kind) -> Self {
                Self::$kind(body)
            }
        })+
    };
}

fn read<T: DeserializeOwned>(kind: &str, body: &Value) -> Result<T, BodyError> {
    T::deserialize(body)
        .map_err(|error| BodyError { kind: kind.to_owned(), why: error.to_string() })
}

fn with_version<T: Serialize>(body: &T) -> Value {
    // Our own structs of strings, numbers and lists always serialise to an object.
    let mut value = serde_json::to_value(body).unwrap_or_default();
    if let Value::Object(fields) = &mut value {
        fields.insert("v".to_owned(), VERSION.into());
    }
    value
}

bodies! {
    /// Stock on hand when the book begins.
    Opening = "opening", "opening stock";
    /// Clumps dug in autumn.
    Lift = "lift", "lifted";
    /// Soil washed off.
    Wash = "wash", "washed";
    /// One lot became several.
    Divide = "divide", "divided";
    /// One sitting at the dividing bench.
    BenchSession = "bench-session", "dividing session";
    /// Dried before storing.
    Dry = "dry", "dried";
    /// Packed and put in store.
    Store = "store", "packed and stored";
    /// Moved to another place.
    Move = "move", "moved";
    /// A dated look at a lot.
    Check = "check", "storage check";
    /// A count that corrects the book, visibly.
    Recount = "recount", "recount";
    /// Units lost outside a check.
    Loss = "loss", "loss";
    /// Stop: suspicious growth.
    Stop = "stop", "stop: suspicious growth";
    /// Readings of a logger.
    Climate = "climate", "climate readings";
    /// Brought into warmth to wake up.
    WakeUp = "wake-up", "woken up";
    /// Potted.
    PotUp = "pot-up", "potted up";
    /// Cuttings taken; the mother survives.
    TakeCuttings = "take-cuttings", "cuttings taken";
    /// Planted out.
    PlantOut = "plant-out", "planted out";
    /// What came up.
    CameUp = "came-up", "came up";
    /// Sound divisions that clumps gave.
    Yield = "yield", "yield per clump";
    /// Seen in the field.
    FieldObservation = "field-observation", "field observation";
    /// Came in from elsewhere.
    Receive = "receive", "received";
    /// Went out.
    Send = "send", "sent";
    /// On order or agreed.
    Coming = "coming", "coming";
    /// How many plants are wanted.
    Plan = "plan", "plan";
    /// What is known of a variety.
    VarietyNote = "variety-note", "variety note";
    /// Strikes out an earlier entry.
    Void = "void", "struck out";
}

macro_rules! record {
    ($(#[$doc:meta])* $name:ident { $($(#[$fdoc:meta])* $field:ident : $ty:ty,)+ }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
        pub struct $name { $($(#[$fdoc])* pub $field: $ty,)+ }
    };
}

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
record! {
    /// A lot packed and put in store.
    Store {
        /// Which.
        lot: LotId,
        /// In what.
        packing: Packing,
        /// Where.
        place: Place,
    }
}
record! {
    /// A whole lot moved; part of a lot is divided off first.
    Move {
        /// Which.
        lot: LotId,
        /// Where to.
        place: Place,
    }
}
/// How much of a lot was looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Scope {
    /// All of it: inspected is a statement of what was there.
    Whole,
    /// A sample.
    Sample,
}
record! {
    /// A dated look at a lot: inspected = sound + doubtful + all lost.
    Check {
        /// Which lot.
        lot: LotId,
        /// How it was looked at.
        look: Look,
        /// All of it or a sample.
        scope: Scope,
        /// Units looked at.
        inspected: Count,
        /// Sound.
        sound: Count,
        /// Still alive, to be looked at again.
        doubtful: Count,
        /// Lost, by cause; taken out of the lot.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        lost: Vec<LostUnits>,
        /// Of the living: sprouted early. A state, not a loss.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        sprouted: Option<Count>,
    }
}
record! {
    /// Units lost to one cause.
    LostUnits {
        /// The cause.
        cause: LossCause,
        /// How many.
        count: Count,
    }
}
record! {
    /// A count that corrects the book, visibly.
    Recount {
        /// Which lot.
        lot: LotId,
        /// What was counted.
        counted: Count,
        /// What became of the missing ones, if fewer than the book said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        missing: Option<LossCause>,
    }
}
record! {
    /// Units lost outside a check.
    Loss {
        /// Which lot.
        lot: LotId,
        /// How many.
        count: Count,
        /// The cause.
        cause: LossCause,
    }
}
record! {
    /// Stop: suspicious growth.
    Stop {
        /// The lot it was seen on.
        lot: LotId,
        /// The dividing session, if at the bench.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        session: Option<SessionId>,
        /// What was seen.
        signs: String,
    }
}
record! {
    /// Readings of a logger at one place.
    Climate {
        /// Where it hangs.
        place: Place,
        /// Where it sits in that place.
        sensor: Sensor,
        /// The readings.
        readings: Vec<Reading>,
    }
}
/// Where a sensor sits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sensor {
    /// In the room.
    Room,
    /// Inside the tote.
    InsideTote,
}
record! {
    /// One reading.
    Reading {
        /// Milliseconds since 1970-01-01 UTC.
        millis: u64,
        /// Temperature in °C.
        temperature_c: f64,
        /// Relative humidity as a fraction.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        relative_humidity: Option<f64>,
    }
}
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
