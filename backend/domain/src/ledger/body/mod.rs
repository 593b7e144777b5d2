//! What an entry says, one struct a kind.
//!
//! A body is stored as a JSON object with its version in `v`. A reader takes every version it
//! knows; a kind or version that it doesn't know is kept whole as [`Body::Newer`].
//!
//! ```text
//! autumn    from the bed to the bench
//! winter    in store
//! spring    out of store
//! passing   between farms
//! season    the turn of the season
//! paper     plans, varieties, strike-outs
//! ```

use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

macro_rules! record {
    ($(#[$doc:meta])* $name:ident { $($(#[$fdoc:meta])* $field:ident : $ty:ty,)+ }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
        pub struct $name { $($(#[$fdoc])* pub $field: $ty,)+ }
    };
}

mod autumn;
mod paper;
mod passing;
mod season;
mod spring;
mod winter;

pub use autumn::{
    BenchSession, Discard, Divide, Dry, Eyes, Lift, MadeLot, Opening, Solution, ToolsBetweenClumps,
    Wash,
};
pub use paper::{Plan, VarietyNote, Void};
pub use passing::{Coming, Receive, Send};
pub use season::{Carried, CloseSeason, ConfirmSeason, Seen};
pub use spring::{CameUp, FieldObservation, PlantOut, PotUp, TakeCuttings, WakeUp, Yield};
pub use winter::{
    Check, Climate, Loss, LostUnits, Move, Reading, Recount, Scope, Sensor, Stop, Store, Weigh,
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
    /// A sample of a lot weighed.
    Weigh = "weigh", "weighed";
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
    /// A season closed, the next one opened.
    CloseSeason = "close-season", "season closed";
    /// A closing confirmed.
    ConfirmSeason = "confirm-season", "season confirmed";
}
