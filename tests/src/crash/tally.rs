//! Points at which a program was struck, and what was found wrong after them.

use std::fmt;
use std::sync::Mutex;

/// What is wrong with a book after a blow.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Wrong {
    /// Something acknowledged is gone.
    Lost(String),
    /// The book is damaged, holds a part of an act, or can't go on to where it would have got.
    Inconsistent(String),
}

impl fmt::Display for Wrong {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Lost(what) => write!(f, "lost: {what}"),
            Self::Inconsistent(what) => write!(f, "inconsistent: {what}"),
        }
    }
}

/// The tally of one sweep, filled by several threads.
#[derive(Debug, Default)]
pub struct Tally {
    points: Mutex<Vec<(String, Option<Wrong>)>>,
}

impl Tally {
    /// Nothing yet.
    pub const fn new() -> Self {
        Self { points: Mutex::new(Vec::new()) }
    }

    /// Notes a point and what was found there.
    pub fn note(&self, at: impl Into<String>, found: Result<(), Wrong>) {
        self.points.lock().expect("nobody panics here").push((at.into(), found.err()));
    }

    fn points(&self) -> usize {
        self.points.lock().expect("nobody panics here").len()
    }

    /// How many of them lost something, and how many left something inconsistent.
    fn wrong(&self) -> (usize, usize) {
        let points = self.points.lock().expect("nobody panics here");
        let lost = points.iter().filter(|point| matches!(point.1, Some(Wrong::Lost(_)))).count();
        (lost, points.iter().filter(|point| point.1.is_some()).count() - lost)
    }

    fn print_wrong(&self) {
        let points = self.points.lock().expect("nobody panics here");
        let wrong = points.iter().filter_map(|(at, wrong)| Some((at, wrong.as_ref()?)));
        for (at, wrong) in wrong.take(12) {
            eprintln!("{at}: {wrong}");
        }
    }

    /// Prints the figures of a session, of a sync's client and of a server in one line, with some
    /// of what was found wrong; nothing may be.
    pub fn print_and_assert(what: &str, all: [&Self; 3]) {
        let lost: usize = all.iter().map(|tally| tally.wrong().0).sum();
        let inconsistent: usize = all.iter().map(|tally| tally.wrong().1).sum();
        for tally in all {
            tally.print_wrong();
        }
        let [client, sync, server] = all.map(Self::points);
        println!(
            "{what} client {client} sync {sync} server {server} lost {lost} inconsistent {inconsistent}"
        );
        assert!(all.iter().all(|tally| tally.points() > 10), "hardly anything was struck");
        assert_eq!((lost, inconsistent), (0, 0), "{what}");
    }
}

/// Runs every piece of work, several at once.
pub fn side_by_side<W: Send>(work: Vec<W>, each: impl Fn(W) + Sync) {
    let hands = std::thread::available_parallelism().map_or(2, std::num::NonZero::get).min(4);
    let queue = Mutex::new(work.into_iter());
    std::thread::scope(|scope| {
        for _ in 0..hands {
            scope.spawn(|| {
                loop {
                    let next = queue.lock().expect("nobody panics with it").next();
                    let Some(piece) = next else { return };
                    each(piece);
                }
            });
        }
    });
}
