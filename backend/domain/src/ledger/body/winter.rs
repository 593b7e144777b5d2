//! In store: packing, moving, looking, counting, losing, stopping, the air.

use serde::{Deserialize, Serialize};

use crate::words::{Count, Look, LossCause, LotId, Packing, Place, SessionId};

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
        /// Minutes by which the logger's clock stood ahead of UTC, so that days and nights can be
        /// told.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        utc_offset_minutes: Option<i16>,
    }
}
record! {
    /// A sample of a lot weighed, to learn what weight it loses.
    Weigh {
        /// The lot.
        lot: LotId,
        /// Which sample of it, if there are several.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        sample: Option<String>,
        /// Its weight in grams.
        grams: f64,
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
