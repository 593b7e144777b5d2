//! The turn of the season: closing, and confirming what was closed.
//!
//! One entry both closes a season and opens the next, so that the two can't come apart: what the
//! old one carries forward is what the new one begins with. Lots keep their codes.

use serde::{Deserialize, Serialize};

use crate::ledger::entry::Seq;
use crate::words::{Count, DeviceId, EntryId, LotId, Season};

record! {
    /// Closes a season on the entry's day and opens the next. Days before are read-only from then.
    CloseSeason {
        /// The season that ends.
        season: Season,
        /// What is in store then and carried forward, lot by lot.
        carried: Vec<Carried>,
        /// What the closing device knew: entries behind these places came late.
        seen: Vec<Seen>,
    }
}
record! {
    /// Units of a lot that go on into the next season.
    Carried {
        /// The lot; it keeps its code.
        lot: LotId,
        /// How many.
        count: Count,
    }
}
record! {
    /// How far a device's chain was known.
    Seen {
        /// The device.
        device: DeviceId,
        /// The last place known.
        upto: Seq,
    }
}
record! {
    /// Confirms a closing: it can't be struck out from then. Said again, it also lets stand what
    /// came late in between.
    ConfirmSeason {
        /// The season that was closed.
        season: Season,
        /// The entry that closed it.
        closing: EntryId,
        /// What the confirming device knew.
        seen: Vec<Seen>,
    }
}

impl Seen {
    /// Whether an entry at that place of a device's chain was known.
    pub fn covers(seen: &[Self], device: DeviceId, seq: Seq) -> bool {
        seen.iter().any(|known| known.device == device && seq <= known.upto)
    }
}
