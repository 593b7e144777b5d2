//! What this crate's tests may do to it from within. Without the feature `planted` (shipped builds)
//! the question is answered at compile time.
//!
//! What may not enter: anything that a server would need.

#[cfg(feature = "planted")]
pub use switch::{read_then_write, reads_then_writes};

#[cfg(feature = "planted")]
mod switch {
    use std::sync::atomic::{AtomicBool, Ordering};

    /// Of the whole process: a server answers with many threads.
    static READS_THEN_WRITES: AtomicBool = AtomicBool::new(false);

    /// Makes this process ask for holds the way that a shared spreadsheet does: it reads what is
    /// free, and writes what is left, without a lock and without a guard.
    pub fn read_then_write() {
        READS_THEN_WRITES.store(true, Ordering::Relaxed);
    }

    /// Whether this process asks for holds so.
    pub fn reads_then_writes() -> bool {
        READS_THEN_WRITES.load(Ordering::Relaxed)
    }
}

/// Whether this process asks for holds without lock and guard: never.
#[cfg(not(feature = "planted"))]
pub const fn reads_then_writes() -> bool {
    false
}
