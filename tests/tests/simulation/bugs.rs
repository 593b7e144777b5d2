//! The mistakes that are planted, and by which invariant each must come to light.

use spareloop_domain::planted::Bug;

use crate::violation::Invariant::{
    self, ChainsHold, ClocksOrder, EntriesEverywhere, FailuresExplained, FoldIsReplay,
    ForksReported, NeverAhead, QuietComes,
};

/// A planted mistake must come to light within so many seeds.
pub const WITHIN: u64 = 200;

/// What brings a mistake to light; the first look that can see it depends on the seed.
pub const fn shown_by(bug: Bug) -> &'static [Invariant] {
    match bug {
        Bug::LockAfterRead | Bug::PositionNotKept => &[FailuresExplained],
        Bug::PrevIgnored | Bug::GapAccepted => &[ChainsHold],
        // The client's copy of the rule passes it over too.
        Bug::ForkIgnored => &[ForksReported, NeverAhead],
        Bug::EpochUnnoticed => &[EntriesEverywhere, NeverAhead, QuietComes],
        Bug::CursorKeptOverRestore
        | Bug::CursorBeforePage
        | Bug::CursorOverOthers
        | Bug::AnsweredBeforeCommit => &[NeverAhead],
        Bug::PageSkipsAtBorder | Bug::ParkedStopsChain => &[EntriesEverywhere, QuietComes],
        Bug::IdKeptAfterFork => &[EntriesEverywhere, QuietComes, FailuresExplained],
        Bug::BatchDropsLast | Bug::DisplacedDropped | Bug::OwnChainOnly | Bug::SentMarkedLate => {
            &[EntriesEverywhere]
        }
        Bug::WallClockOrder | Bug::ClockNotObserved | Bug::FarAheadFollowed => &[ClocksOrder],
        Bug::FoldByArrival => &[FoldIsReplay],
    }
}
