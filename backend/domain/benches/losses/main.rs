//! How fast the losses of a whole network are fitted and foretold, held against other programs' figures
//! for the same looks in the same run.
//!
//! `cargo bench -p spareloop-domain --bench losses` takes 10,000 lots with 8 looks each (`-- --lots 1000` takes
//! another number) and holds the fit against R's lme4 and the sums against Python's scipy, where they
//! are installed (`tests/setup.sh bench`). As part of `cargo test` it takes 400 lots in the test profile,
//! calls neither, asserts no time, and asserts what can be counted: that no other parameters known to us are
//! likelier, and that four times the rows don't take more than about four times the memory.
//!
//! ```text
//! winter   the invented looks
//! ours     fit, forecast of every lot, spare of every variety
//! lme4     the same fit by R's glmer
//! sums     the same forecasts by scipy
//! memory   the peak of a process of its own, at 1, 2 and 4 times the rows
//! ```
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod lme4;
mod memory;
mod ours;
mod sums;
mod winter;

use winter::Invented;

/// How much to do.
#[derive(Clone, Copy)]
pub(crate) struct Size {
    /// Lots of the network.
    pub(crate) lots: u32,
    /// Whether other programs are asked, too.
    pub(crate) others: Others,
}

#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Others {
    Asked,
    LeftOut,
}

/// Processor seconds that something takes on this thread, so that a busy machine tells the same.
pub(crate) fn timed<T>(work: impl FnOnce() -> T) -> (T, f64) {
    let begun = std::time::Instant::now();
    let before = processor_seconds();
    let made = work();
    match (before, processor_seconds()) {
        (Some(before), Some(after)) => (made, after - before),
        // Not a Linux machine: the clock on the wall has to do.
        _ => (made, begun.elapsed().as_secs_f64()),
    }
}

/// The first number of Linux's schedstat: nanoseconds that this thread has run.
fn processor_seconds() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    Some(text.split_whitespace().next()?.parse::<f64>().ok()? / 1e9)
}

/// The number behind a flag.
fn flag(words: &[String], name: &str) -> Option<u32> {
    let at = words.iter().position(|word| word == name)?;
    Some(words.get(at + 1)?.parse().expect("a number of lots"))
}

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    if let Some(lots) = flag(&words, memory::OF) {
        memory::child(lots);
        return;
    }
    // `cargo test -- NAME` asks every test program; this one answers to its own name.
    let is_name = |at: usize| !words[at].starts_with('-') && (at == 0 || words[at - 1] != "--lots");
    let asked = words.iter().enumerate().filter(|(at, _)| is_name(*at));
    let names: Vec<&str> = asked.map(|(_, word)| word.as_str()).collect();
    if words.iter().any(|word| word == "--list")
        || !(names.is_empty() || names.iter().any(|name| "losses".contains(name)))
    {
        return;
    }
    let size = if words.iter().any(|word| word == "--bench") {
        Size { lots: flag(&words, "--lots").unwrap_or(10_000), others: Others::Asked }
    } else {
        Size { lots: flag(&words, "--lots").unwrap_or(400), others: Others::LeftOut }
    };
    let invented = Invented::of_lots(size.lots);
    println!(
        "losses of {} lots, {} looks, {} varieties, {} packings, {} farms, all invented; processor seconds",
        size.lots,
        invented.looks.len(),
        invented.count(0),
        invented.count(1),
        invented.count(2),
    );
    let ours = ours::run(&invented);
    if size.others == Others::Asked {
        lme4::run(&invented, &ours);
        sums::run(&invented, &ours);
    }
    memory::run(size);
}
