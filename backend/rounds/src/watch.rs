//! Time, stopping and progress, all from outside: the solver has no clock of its own.

use std::sync::atomic::{AtomicBool, Ordering};

/// A clock, as somebody else keeps it.
pub trait Clock: Sync {
    /// Seconds since some moment before the solver began.
    fn seconds(&self) -> f64;
}

/// How far a round is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Progress {
    /// The best so far.
    pub objective: i64,
    /// What nothing can exceed, as far as is proved; infinite before anything is.
    pub bound: f64,
    /// Rounds of search so far.
    pub work: u64,
}

/// Hears of progress.
pub type Hears<'a> = dyn Fn(Progress) + Sync + 'a;

/// What tells the solver to stop, and whom it tells how far it is.
pub struct Watch<'a> {
    clock: &'a dyn Clock,
    until: f64,
    stop: &'a AtomicBool,
    hears: &'a Hears<'a>,
}

impl std::fmt::Debug for Watch<'_> {
    fn fmt(&self, to: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        to.debug_struct("Watch").field("until", &self.until).finish_non_exhaustive()
    }
}

impl<'a> Watch<'a> {
    /// Stops `seconds` from now, or when `stop` is set.
    pub fn new(
        clock: &'a dyn Clock,
        seconds: f64,
        stop: &'a AtomicBool,
        hears: &'a Hears<'a>,
    ) -> Self {
        let now = clock.seconds();
        Self { clock, until: now + seconds, stop, hears }
    }

    /// The same watch, over earlier: when `share` of what is left has passed.
    pub(crate) fn part(&self, share: f64) -> Self {
        let now = self.clock.seconds();
        Self { until: now + (self.until - now).max(0.0) * share, ..*self }
    }

    /// Whether to stop.
    pub fn over(&self) -> bool {
        self.stop.load(Ordering::Relaxed) || self.clock.seconds() >= self.until
    }

    /// Seconds that are left, not below 0.
    pub fn left(&self) -> f64 {
        if self.over() { 0.0 } else { self.until - self.clock.seconds() }
    }

    pub(crate) fn tell(&self, progress: Progress) {
        (self.hears)(progress);
    }
}
