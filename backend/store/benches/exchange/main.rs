//! What an exchange costs beside its database alone: ratios to named baselines, in one process, on
//! one day's machine.
//!
//! `cargo bench -p spareloop-store --bench exchange` takes some minutes. It needs PostgreSQL: for
//! figures that mean something one that keeps what it says it keeps,
//! `export SPARELOOP_TEST_POSTGRES=$(SPARELOOP_TEST_DURABLE=yes tests/postgres.sh start)`. As part of
//! `cargo test` it runs for a moment, asserts that nothing was promised twice, and asserts no time.
//!
//! ```text
//! sqlite     64 clients who ask for holds, against raw SQLite with a commit for each hold
//! postgres   the same against pgbench with the very statements that the store sends; and all 64 at
//!            one offer, against pgbench at one row
//! board      a page of the sheet among 100,000 offers, against one among 1,000
//! ```
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod board;
#[path = "../../tests/store/common/mod.rs"]
mod common;
mod load;
mod pgbench;
mod postgres;
mod sqlite;

use std::time::Duration;

/// How much to do.
#[derive(Clone, Copy)]
pub(crate) struct Size {
    /// How long each side works.
    pub(crate) time: Duration,
    /// Offers on the long sheet.
    pub(crate) sheet: u32,
}

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    // `cargo test -- NAME` asks every test program; this one answers to its own name.
    let filters: Vec<&String> = words.iter().filter(|word| !word.starts_with('-')).collect();
    if words.iter().any(|word| word == "--list")
        || !(filters.is_empty() || filters.iter().any(|word| "exchange".contains(word.as_str())))
    {
        return;
    }
    let size = if words.iter().any(|word| word == "--bench") {
        Size { time: Duration::from_secs(8), sheet: 100_000 }
    } else {
        Size { time: Duration::from_millis(400), sheet: 5_000 }
    };
    sqlite::run(size);
    postgres::run(size);
    board::run(size);
}
