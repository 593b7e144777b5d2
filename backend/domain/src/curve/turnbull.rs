//! The estimate for losses that are known to lie between two looks (Turnbull, J. R. Stat. Soc. B 38
//! (1976) 290), by its self-consistent steps.

use std::cmp::Ordering;

/// Units lost between two times; `until` may be infinite for those alive still.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Between {
    /// Alive at this time.
    pub from: f64,
    /// Lost by this one.
    pub until: f64,
    /// How many.
    pub units: f64,
}

/// Which ends belong to an interval.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ends {
    /// Alive at the first, lost by the second: (from, until].
    OpenClosed,
    /// Both: \[from, until\].
    Closed,
}

/// A stretch in which losses lie, and their share.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TurnbullMass {
    /// Its begin.
    pub from: f64,
    /// Its end.
    pub until: f64,
    /// The share of all units lost within it.
    pub share: f64,
}

const MOST_STEPS: u32 = 100_000;
const STILL: f64 = 1e-12;

/// The shares of units lost, by the stretches that the looks can tell apart; they sum to 1.
///
/// ```
/// use spareloop_domain::curve::{Between, Ends, turnbull};
/// let looks = [(0.0, 14.0, 3.0), (14.0, 28.0, 1.0), (28.0, f64::INFINITY, 36.0)];
/// let looks = looks.map(|(from, until, units)| Between { from, until, units });
/// let masses = turnbull(&looks, Ends::OpenClosed);
/// assert!((masses[0].share - 3.0 / 40.0).abs() < 1e-9);
/// ```
pub fn turnbull(looks: &[Between], ends: Ends) -> Vec<TurnbullMass> {
    let looks: Vec<&Between> =
        looks.iter().filter(|one| one.units > 0.0 && one.from <= one.until).collect();
    let mut masses = stretches(&looks, ends);
    let all: f64 = looks.iter().map(|one| one.units).sum();
    let spans: Vec<(std::ops::Range<usize>, f64)> =
        looks.iter().map(|one| (span(&masses, one), one.units / all)).collect();
    for _ in 0..MOST_STEPS {
        let mut next = vec![0.0; masses.len()];
        for (span, weight) in &spans {
            let within: f64 = masses[span.clone()].iter().map(|mass| mass.share).sum();
            for (sum, mass) in next[span.clone()].iter_mut().zip(&masses[span.clone()]) {
                *sum += weight * mass.share / within;
            }
        }
        let moved = masses.iter().zip(&next).map(|(mass, next)| (mass.share - next).abs());
        let most = moved.fold(0.0, f64::max);
        for (mass, next) in masses.iter_mut().zip(next) {
            mass.share = next;
        }
        if most < STILL {
            break;
        }
    }
    masses.retain(|mass| mass.share > 1e-9);
    masses
}

/// The innermost stretches: from an interval's begin to an end with no other begin or end between.
fn stretches(looks: &[&Between], ends: Ends) -> Vec<TurnbullMass> {
    #[derive(Clone, Copy, PartialEq)]
    enum Mark {
        Begin(f64),
        End(f64),
    }
    let mut marks: Vec<Mark> =
        looks.iter().flat_map(|one| [Mark::Begin(one.from), Mark::End(one.until)]).collect();
    let order = |one: &Mark, other: &Mark| {
        let place = |mark: &Mark| match (mark, ends) {
            // What is lost by x comes before what is alive at x; closed ends meet at x.
            (Mark::End(at), Ends::OpenClosed) | (Mark::Begin(at), Ends::Closed) => (*at, 0),
            (Mark::Begin(at), Ends::OpenClosed) | (Mark::End(at), Ends::Closed) => (*at, 1),
        };
        let (one, other) = (place(one), place(other));
        one.0.partial_cmp(&other.0).unwrap_or(Ordering::Equal).then(one.1.cmp(&other.1))
    };
    marks.sort_by(order);
    let mut found = Vec::new();
    for pair in marks.windows(2) {
        if let [Mark::Begin(from), Mark::End(until)] = *pair {
            found.push(TurnbullMass { from, until, share: 0.0 });
        }
    }
    let share = 1.0 / found.len().max(1) as f64;
    for mass in &mut found {
        mass.share = share;
    }
    found
}

/// The stretches within an interval, which stand together.
fn span(masses: &[TurnbullMass], look: &Between) -> std::ops::Range<usize> {
    let first = masses.partition_point(|mass| mass.from < look.from);
    let end = masses.partition_point(|mass| mass.until <= look.until);
    first..end.max(first)
}
