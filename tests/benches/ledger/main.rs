//! Whether one farm's ledger stays quick: ratios to named baselines, in one process, on one day's
//! machine, over the same entries.
//!
//! `cargo bench -p spareloop-tests --bench ledger` takes 200,000 entries. As part of `cargo test` it
//! takes 20,000 in the test profile, asserts what can be counted (bytes of a sync with nothing new)
//! and that a book gone on from a snapshot is the one folded from nothing, and asserts no time.
//!
//! ```text
//! fold    folding, verifying and snapshots against parsing the same JSON
//! daily   commands on a long book against the same on a short one, and against a full replay
//! first   the first sync of all entries against copying the rows with the sqlite3 shell
//! quiet   the bytes of a sync with nothing new, by devices and by entries
//! ```
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod daily;
mod filled;
mod first;
mod fold;
mod proxy;
mod quiet;

use std::time::{Duration, Instant};

/// How much to do.
#[derive(Clone, Copy)]
pub(crate) struct Size {
    /// Entries of the long ledger.
    pub(crate) entries: usize,
    /// Times that a command is run.
    pub(crate) runs: usize,
}

/// Entries of the short ledger.
pub(crate) const SHORT: usize = 2_000;

/// How long something takes.
pub(crate) fn timed<T>(work: impl FnOnce() -> T) -> (T, Duration) {
    let start = Instant::now();
    let made = work();
    (made, start.elapsed())
}

/// The middle one of several runs.
pub(crate) fn middle(runs: usize, mut work: impl FnMut()) -> Duration {
    let mut times: Vec<Duration> = (0..runs.max(1)).map(|_| timed(&mut work).1).collect();
    times.sort_unstable();
    times[times.len() / 2]
}

/// A line of figures: how long, and how many times the baseline.
pub(crate) fn line(what: &str, took: Duration, baseline: Duration) {
    let times = took.as_secs_f64() / baseline.as_secs_f64();
    println!("  {what:<52} {:>10.1} ms  {times:>8.2} x", took.as_secs_f64() * 1000.0);
}

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    // `cargo test -- NAME` asks every test program; this one answers to its own name.
    let filters: Vec<&String> = words.iter().filter(|word| !word.starts_with('-')).collect();
    if words.iter().any(|word| word == "--list")
        || !(filters.is_empty() || filters.iter().any(|word| "ledger".contains(word.as_str())))
    {
        return;
    }
    let size = if words.iter().any(|word| word == "--bench") {
        Size { entries: 200_000, runs: 9 }
    } else {
        Size { entries: 20_000, runs: 3 }
    };
    println!("a ledger of about {} entries, twenty seasons, invented", size.entries);
    fold::run(size);
    daily::run(size);
    first::run(size);
    quiet::run(size);
}
