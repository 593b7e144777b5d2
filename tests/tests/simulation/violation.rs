//! What must hold, by the numbers of the design's page on the ledger, and what it looks like when
//! it doesn't.

use std::fmt;

/// What the simulation holds the sync to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Invariant {
    /// 1: every entry that a device committed is on the server and on every device once.
    EntriesEverywhere,
    /// 2: every fold equals a replay from nothing.
    FoldIsReplay,
    /// 3: chains have no gap and their hashes hold.
    ChainsHold,
    /// 4: the same place with other bytes was refused and reported.
    ForksReported,
    /// 5: cursors and acknowledgements were never ahead of durable data.
    NeverAhead,
    /// 6: what was made after another was seen sorts after it; nobody follows a far-off clock.
    ClocksOrder,
    /// 7: quiet comes within a bounded number of rounds.
    QuietComes,
    /// 8: in + made + found = out + lost + in store.
    UnitsConserved,
    /// 9: the same seed gives the same trace.
    SameTrace,
    /// 10, ours: nothing fails that no fault explains.
    FailuresExplained,
}

impl fmt::Display for Invariant {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::EntriesEverywhere => "1 (every committed entry is everywhere once)",
            Self::FoldIsReplay => "2 (every fold equals a replay)",
            Self::ChainsHold => "3 (chains have no gap, hashes hold)",
            Self::ForksReported => "4 (another entry at a taken place is refused and reported)",
            Self::NeverAhead => "5 (nothing is ahead of durable data)",
            Self::ClocksOrder => "6 (later sorts later, nobody follows a far-off clock)",
            Self::QuietComes => "7 (quiet comes)",
            Self::UnitsConserved => "8 (units are conserved)",
            Self::SameTrace => "9 (the same seed, the same trace)",
            Self::FailuresExplained => "10 (nothing fails that no fault explains)",
        })
    }
}

/// Something that must hold and doesn't.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Violation {
    /// What must hold.
    pub invariant: Invariant,
    /// At which step of the seed.
    pub step: u32,
    /// What was found instead.
    pub what: String,
}

impl fmt::Display for Violation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "invariant {} at step {}: {}", self.invariant, self.step, self.what)
    }
}

/// Nothing, or what doesn't hold; the step is filled in by the world.
pub type Held<T = ()> = Result<T, Violation>;

/// A violation whose step the world fills in.
pub fn broken<T>(invariant: Invariant, what: impl Into<String>) -> Held<T> {
    Err(Violation { invariant, step: 0, what: what.into() })
}
