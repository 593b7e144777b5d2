//! The hybrid logical clock (Kulkarni et al. 2014, "Logical Physical Clocks"; from memory).
//!
//! A stamp never goes back on a device and always passes what the device has seen, so that an
//! entry made after another was seen sorts after it, however wrong the wall clocks are.

use serde::{Deserialize, Serialize};

use crate::planted::{self, Bug};

/// How far ahead of the server's wall clock a foreign stamp may be and still move a clock.
const TRUSTED_AHEAD_MILLIS: u64 = 24 * 60 * 60 * 1000;

/// A moment of the hybrid clock: milliseconds since 1970 and a counter within the millisecond.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
pub struct Stamp {
    /// Milliseconds since 1970-01-01 UTC.
    pub millis: u64,
    /// Orders stamps of one millisecond.
    pub counter: u32,
}

impl Stamp {
    /// Whether it lies more than a day ahead of `wall`: kept and flagged, but nobody follows it.
    pub const fn is_far_ahead_of(self, wall: u64) -> bool {
        self.millis > wall.saturating_add(TRUSTED_AHEAD_MILLIS)
    }
}

/// One device's clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Clock {
    last: Stamp,
}

impl Clock {
    /// Goes on from the last stamp that the device gave or saw.
    pub const fn resume(last: Stamp) -> Self {
        Self { last }
    }

    /// The next stamp, given the wall time in milliseconds.
    ///
    /// ```
    /// use spareloop_domain::ledger::Clock;
    /// let mut clock = Clock::default();
    /// let first = clock.tick(1_000);
    /// let set_back = clock.tick(10);
    /// assert!(set_back > first);
    /// ```
    pub fn tick(&mut self, wall: u64) -> Stamp {
        if planted::is(Bug::WallClockOrder) {
            self.last = Stamp { millis: wall, counter: 0 };
            return self.last;
        }
        self.last = if wall > self.last.millis {
            Stamp { millis: wall, counter: 0 }
        } else if self.last.counter == u32::MAX {
            Stamp { millis: self.last.millis + 1, counter: 0 }
        } else {
            Stamp { millis: self.last.millis, counter: self.last.counter + 1 }
        };
        self.last
    }

    /// Takes note of another device's stamp, unless it is more than a day ahead of `wall`: the
    /// server's clock when it took the entry, in milliseconds. The observer's own wall clock is no
    /// judge: set back by years, it would call every true stamp wrong.
    pub fn observe(&mut self, seen: Stamp, wall: u64) {
        let followed = !seen.is_far_ahead_of(wall) || planted::is(Bug::FarAheadFollowed);
        if followed && !planted::is(Bug::ClockNotObserved) {
            self.last = self.last.max(seen);
        }
    }

    /// The last stamp given or seen.
    pub const fn last(self) -> Stamp {
        self.last
    }
}
