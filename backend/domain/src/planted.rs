//! What the simulation may do to the rooms from within: plant a mistake, stop a program at a write,
//! and draw ids from a seed. All of it for the calling thread alone.
//!
//! A simulation that finds nothing has shown nothing until it was seen to find something. So each
//! place where a known mistake would be easy to make asks [`is`], and the simulation plants the
//! mistake there and must catch it. Without the feature `planted` (shipped builds) every question
//! is answered at compile time: no mistake, no stop, no seed.
//!
//! What may not enter: anything that a person's program would need.

/// A mistake that can be planted, each one that somebody could well make.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Bug {
    /// The client reads the head of its chain before it holds the write lock (`BEGIN DEFERRED`).
    LockAfterRead,
    /// An entry is accepted without asking which entry it names as the one before it.
    PrevIgnored,
    /// An entry is accepted where entries before it are missing.
    GapAccepted,
    /// Another entry at a taken place is passed over in silence (`insert or ignore`).
    ForkIgnored,
    /// A restored server is taken for the one that was known.
    EpochUnnoticed,
    /// The cursor stays where it was when the server was restored.
    CursorKeptOverRestore,
    /// The cursor moves in a transaction of its own, before the page is kept.
    CursorBeforePage,
    /// A page begins one behind where the one before it ended.
    PageSkipsAtBorder,
    /// The end of what is to be sent is taken for the place behind it, so that the last stays here.
    BatchDropsLast,
    /// After a push the cursor moves to the newest position, also over others' entries.
    CursorOverOthers,
    /// A fork takes the entries behind it out of the chain and doesn't note them again.
    DisplacedDropped,
    /// A fork notes the entries behind it again under the same device id.
    IdKeptAfterFork,
    /// After a restore a device sends its own entries only.
    OwnChainOnly,
    /// A refused entry holds up what stands behind it.
    ParkedStopsChain,
    /// Entries are marked as sent once the server has answered, not before they are sent.
    SentMarkedLate,
    /// A stamp is the wall clock's time, whatever was noted or seen before.
    WallClockOrder,
    /// The clock takes no note of entries that are fetched.
    ClockNotObserved,
    /// The clock follows a stamp more than a day ahead.
    FarAheadFollowed,
    /// The server answers a push before it is committed.
    AnsweredBeforeCommit,
    /// The farm's newest position isn't written down after a push.
    PositionNotKept,
    /// The fold takes entries in the order in which they arrived.
    FoldByArrival,
}

impl Bug {
    /// All of them.
    pub const ALL: [Self; 21] = [
        Self::LockAfterRead,
        Self::PrevIgnored,
        Self::GapAccepted,
        Self::ForkIgnored,
        Self::EpochUnnoticed,
        Self::CursorKeptOverRestore,
        Self::CursorBeforePage,
        Self::PageSkipsAtBorder,
        Self::BatchDropsLast,
        Self::CursorOverOthers,
        Self::DisplacedDropped,
        Self::IdKeptAfterFork,
        Self::OwnChainOnly,
        Self::ParkedStopsChain,
        Self::SentMarkedLate,
        Self::WallClockOrder,
        Self::ClockNotObserved,
        Self::FarAheadFollowed,
        Self::AnsweredBeforeCommit,
        Self::PositionNotKept,
        Self::FoldByArrival,
    ];
}

/// A moment at which the simulation may stop a program, or let another one step in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Moment {
    /// The client has read the head of its chain and has not written yet.
    HeadRead,
    /// All is written to the book, nothing committed.
    BookWritten,
    /// The book's transaction is committed, nobody was told.
    BookCommitted,
    /// All is written to the store, nothing committed.
    StoreWritten,
    /// The store's transaction is committed, nobody was told.
    StoreCommitted,
}

#[cfg(feature = "planted")]
pub use switch::{bytes, is, plant, reach, seed, watch};

#[cfg(feature = "planted")]
mod switch {
    use std::cell::{Cell, RefCell};

    use super::{Bug, Moment};
    use crate::ledger::generate::Dice;

    /// What the simulation does at a moment; it may unwind, as a program that is stopped.
    type Watch = Box<dyn FnMut(Moment)>;

    thread_local! {
        static PLANTED: Cell<Option<Bug>> = const { Cell::new(None) };
        static WATCH: RefCell<Option<Watch>> = const { RefCell::new(None) };
        static DICE: RefCell<Option<Dice>> = const { RefCell::new(None) };
    }

    /// Plants a mistake in this thread, or takes it out.
    pub fn plant(bug: Option<Bug>) {
        PLANTED.set(bug);
    }

    /// Whether that mistake is planted in this thread.
    pub fn is(bug: Bug) -> bool {
        PLANTED.get() == Some(bug)
    }

    /// Lets `watch` see every moment that this thread reaches, or nobody.
    pub fn watch(watch: Option<Watch>) {
        WATCH.set(watch);
    }

    /// Says that a moment is reached. What the watch itself brings about isn't watched; a watch that
    /// unwinds has stopped its program and is gone.
    pub fn reach(moment: Moment) {
        if let Some(mut watch) = WATCH.take() {
            watch(moment);
            WATCH.set(Some(watch));
        }
    }

    /// Draws this thread's ids from a seed, or again from the operating system.
    pub fn seed(seed: Option<u64>) {
        DICE.set(seed.map(Dice::new));
    }

    /// Bytes of the seed, where one is set.
    pub fn bytes<const N: usize>() -> Option<[u8; N]> {
        DICE.with_borrow_mut(|dice| {
            dice.as_mut().map(|dice| std::array::from_fn(|_| dice.roll().to_be_bytes()[0]))
        })
    }
}

/// Whether that mistake is planted: never.
#[cfg(not(feature = "planted"))]
pub const fn is(_: Bug) -> bool {
    false
}

/// Says that a moment is reached: nobody watches.
#[cfg(not(feature = "planted"))]
pub const fn reach(_: Moment) {}

/// Bytes of a seed: there is none.
#[cfg(not(feature = "planted"))]
pub const fn bytes<const N: usize>() -> Option<[u8; N]> {
    None
}
