//! Many seeds over the cores, and what they came to.

use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Instant;

use spareloop_domain::planted::Bug;

use crate::bugs::{WITHIN, shown_by};
use crate::reach::Reached;
use crate::violation::{Invariant, Violation};
use crate::world::{Outcome, Told, run};

/// Seeds that are run unless `SPARELOOP_SIMULATION_SEEDS` says otherwise.
const SEEDS: u64 = 500;
/// One seed in so many is run twice, to see that it gives the same trace.
const TWICE: u64 = 10;

/// A number from the environment.
pub fn number(name: &str) -> Option<u64> {
    let text = std::env::var(name).ok()?;
    Some(text.parse().unwrap_or_else(|_| panic!("{name} must be a number, not {text:?}")))
}

/// The mistake of that name.
pub fn named(name: &str) -> Bug {
    Bug::ALL
        .into_iter()
        .find(|bug| format!("{bug:?}") == name)
        .unwrap_or_else(|| panic!("no mistake is called {name:?}; there are {:?}", Bug::ALL))
}

/// How to see a seed again.
pub fn again(seed: u64, bug: Option<Bug>) -> String {
    let planted = bug.map_or(String::new(), |bug| format!("SPARELOOP_SIMULATION_PLANTED={bug:?} "));
    format!(
        "SPARELOOP_SIMULATION_SEED={seed} {planted}cargo test --workspace --test simulation -- --nocapture"
    )
}

/// What many seeds came to.
#[derive(Default)]
pub struct Sum {
    /// How many.
    pub seeds: u64,
    /// Entries committed in all.
    pub entries: usize,
    /// The most rounds that it took until quiet came.
    pub rounds: u32,
    /// Which faults were reached.
    pub reached: Reached,
    /// What didn't hold, by seed.
    pub violations: Vec<(u64, Violation)>,
}

impl Sum {
    fn add(&mut self, seed: u64, outcome: Outcome) {
        self.seeds += 1;
        self.entries += outcome.entries;
        self.rounds = self.rounds.max(outcome.rounds);
        self.reached.add(&outcome.reached);
        if let Some(violation) = outcome.violation {
            eprintln!("seed {seed}: {violation}\n  {}", again(seed, None));
            self.violations.push((seed, violation));
        }
    }
}

/// Works on items 0, 1, 2 ... below `many` on every core.
fn on_every_core(many: u64, work: impl Fn(u64) + Sync) {
    let next = AtomicU64::new(0);
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..cores {
            scope.spawn(|| {
                loop {
                    let item = next.fetch_add(1, Ordering::Relaxed);
                    if item >= many {
                        break;
                    }
                    work(item);
                }
            });
        }
    });
}

/// Runs the seeds without a mistake.
pub fn sound_seeds() -> Sum {
    let many = number("SPARELOOP_SIMULATION_SEEDS").unwrap_or(SEEDS);
    let sum = Mutex::new(Sum::default());
    let begin = Instant::now();
    on_every_core(many, |item| {
        let seed = item + 1;
        let mut outcome = run(seed, None, Told::Silently);
        if outcome.violation.is_none() && seed.is_multiple_of(TWICE) {
            let again = run(seed, None, Told::Silently);
            if again.trace != outcome.trace {
                let what = format!("{} and then {}", outcome.trace, again.trace);
                let invariant = Invariant::SameTrace;
                outcome.violation = Some(Violation { invariant, step: 0, what });
            }
        }
        sum.lock().expect("no other thread panics").add(seed, outcome);
    });
    eprintln!("{many} seeds in {:.1} s", begin.elapsed().as_secs_f64());
    sum.into_inner().expect("no other thread panics")
}

/// The first seed that brings a mistake to light, and what it broke.
pub struct Caught {
    /// The mistake.
    pub bug: Bug,
    /// Where, if anywhere.
    pub at: Option<(u64, Violation)>,
}

impl Caught {
    /// Whether it was caught by an invariant that is named for it.
    pub fn as_named(&self) -> bool {
        self.at
            .as_ref()
            .is_some_and(|(_, violation)| shown_by(self.bug).contains(&violation.invariant))
    }
}

/// Plants a mistake and looks for a seed that shows it.
pub fn look_for(bug: Bug) -> Caught {
    let at = (1..=WITHIN).find_map(|seed| {
        run(seed, Some(bug), Told::Silently).violation.map(|violation| (seed, violation))
    });
    match &at {
        Some((seed, violation)) => eprintln!("{bug:?} caught by seed {seed}: {violation}"),
        None => eprintln!("{bug:?} NOT caught within {WITHIN} seeds"),
    }
    Caught { bug, at }
}

/// Plants every mistake in turn and looks for a seed that shows it.
pub fn planted_bugs() -> Vec<Caught> {
    let caught = Mutex::new(Vec::new());
    on_every_core(Bug::ALL.len() as u64, |item| {
        let bug = Bug::ALL[usize::try_from(item).expect("a small number")];
        caught.lock().expect("no other thread panics").push(look_for(bug));
    });
    let mut caught = caught.into_inner().expect("no other thread panics");
    caught.sort_by_key(|one| one.bug);
    caught
}
