//! Loops: which farms pass on to which in a ring, and what.
//!
//! ```text
//! contents  what one farm can pass to another, by the value of the parcel (radix: what it keeps apart)
//! pricing   the best contents of every loop after prices
//! standing  loops that were chosen, and what they leave
//! fill      puts in the loop that gains most, again and again (within: where limits bind)
//! search    frees neighbouring loops and refills, on and on
//! regions   parts of a network that two threads can search side by side
//! exact     small rounds, to the proved optimum
//! polish    the program over a few neighbouring loops, held and not held
//! ```
//!
//! Prices first: they prove the bound, and they guide the search. What may not enter: JSON, the clock.

pub(crate) mod contents;
mod exact;
pub(crate) mod fill;
mod polish;
pub(crate) mod pricing;
mod radix;
mod regions;
pub(crate) mod search;
pub(crate) mod standing;
mod within;

use spareloop_domain::dice::Dice;

use crate::ascent::{Pace, seek};
use crate::duals::Duals;
use crate::instance::Instance;
use crate::solve::Goal;
use crate::watch::{Progress, Watch};
use contents::Left;
use exact::{Exact, Outcome};
use fill::Filler;
use polish::Pool;
use pricing::Tables;
use search::{Stretch, search};
use standing::{Held, Standing};

/// How many threads search side by side.
const SEARCHERS: usize = 2;
/// From how many farms on the threads share out the farms instead of each searching all of them.
const MANY_FARMS: usize = 40;

/// Most loops over which the optimum is sought by proof.
const MOST_LOOPS_PROVED: usize = 600;
/// Fewer loops than this are one program, more are shared out.
const FEW_LOOPS: usize = 16;
/// Rounds of search before that: the better the answer that stands, the more loops prices rule out.
const ROUNDS_BEFORE_PROOF: u64 = 8;

/// What was found.
#[derive(Debug)]
pub(crate) struct Found {
    pub(crate) held: Vec<Held>,
    pub(crate) gain: i64,
    pub(crate) duals: Duals,
    /// What nothing can exceed, where more than prices proves it.
    pub(crate) proved: Option<f64>,
    pub(crate) work: u64,
}

/// Solves a round of loops from what stands already (`start`) and from `prices`.
pub(crate) fn solve(
    of: &Instance,
    start: &[Held],
    prices: &Duals,
    goal: &Goal,
    watch: &Watch<'_>,
) -> Found {
    let mut run = Run::new(of, start, prices.clone(), goal);
    run.seek_prices(watch);
    run.search(&watch.part(0.2), Some(ROUNDS_BEFORE_PROOF));
    run.prove(watch);
    run.search(watch, None);
    run.found()
}

/// Searches alone, guided by prices that are known.
pub(crate) fn search_only(
    of: &Instance,
    goal: &Goal,
    prices: &Duals,
    watch: &Watch<'_>,
) -> Vec<Held> {
    let mut run = Run::new(of, &[], prices.clone(), goal);
    run.search(watch, None);
    run.standing.held
}

struct Run<'a> {
    of: &'a Instance,
    goal: &'a Goal,
    standing: Standing,
    duals: Duals,
    bound: f64,
    proved: Option<f64>,
    work: u64,
}

impl<'a> Run<'a> {
    fn new(of: &'a Instance, start: &[Held], duals: Duals, goal: &'a Goal) -> Self {
        let mut standing = Standing::none(of);
        for it in start {
            // What doesn't fit any more is left to the search.
            let _ = standing.try_add(of, it.clone());
        }
        Self { of, goal, standing, duals, bound: f64::INFINITY, proved: None, work: 0 }
    }

    fn found(self) -> Found {
        let Self { standing, duals, proved, work, .. } = self;
        Found { gain: standing.gain, held: standing.held, duals, proved, work }
    }

    fn tell(&self, watch: &Watch<'_>) {
        let bound = self.proved.unwrap_or(self.bound);
        watch.tell(Progress { objective: self.standing.gain, bound, work: self.work });
    }

    fn done(&self, watch: &Watch<'_>) -> bool {
        let bound = self.proved.unwrap_or(self.bound);
        watch.over() || self.goal.reached(self.standing.gain, bound, self.work)
    }

    /// Where prices leave few loops: the program over all of them.
    fn prove(&mut self, watch: &Watch<'_>) {
        if self.done(watch) {
            return;
        }
        let left = Left::all(self.of);
        let mut tables = Tables::new(self.of, &left);
        let gains = self.duals.gains(self.of);
        tables.renew(gains.clone());
        if tables.are_trimmed() {
            return;
        }
        let slack = (self.bound - self.standing.gain as f64).max(0.0);
        let Some(mut exact) = Exact::new(self.of, &tables, slack, MOST_LOOPS_PROVED) else {
            return;
        };
        let gains: Vec<f64> = gains.into_iter().map(f64::from).collect();
        let limits = self.goal.limits(watch.left() * 0.9, 10);
        let better = (self.standing.gain + self.goal.grid) as f64;
        let outcome = match exact.size() {
            0 => Some(Outcome { held: None, bound: f64::NEG_INFINITY }),
            1..FEW_LOOPS => exact.solve(&gains, &self.standing.held, limits),
            _ => exact.solve_in_parts(&gains, better, limits),
        };
        let Some(outcome) = outcome else { return };
        if let Some(held) = outcome.held {
            let mut standing = Standing::none(self.of);
            if held.into_iter().all(|it| standing.try_add(self.of, it).is_ok()) {
                self.take(standing);
            }
        }
        // Loops that prices ruled out can't be in anything better than what stands.
        let bound = self.goal.tight(outcome.bound).max(self.standing.gain as f64);
        if bound < self.bound {
            self.proved = Some(bound);
        }
        self.tell(watch);
    }

    /// A first choice, and prices that prove a close bound.
    fn seek_prices(&mut self, watch: &Watch<'_>) {
        let left = Left::all(self.of);
        let mut tables = Tables::new(self.of, &left);
        let target = self.standing.gain as f64;
        let pace = Pace { steps: self.goal.price_steps(), least_reach: 1e-3 };
        let watch_part = watch.part(0.35);
        let (duals, bound) = seek(self.of, &self.duals, target, pace, &watch_part, |duals| {
            let priced = tables.price(duals);
            (priced.value, priced.used)
        });
        (self.duals, self.bound) = (duals, bound);
        self.tell(watch);
    }

    fn search(&mut self, watch: &Watch<'_>, most_rounds: Option<u64>) {
        let mut dice = Dice::new(self.goal.seed);
        let mut fillers: Vec<Filler<'_>> = (0..SEARCHERS)
            .map(|_| {
                let mut filler = Filler::new(self.of, self.standing.clone());
                filler.prices = self.duals.clone();
                filler
            })
            .collect();
        fillers[0].touch_all();
        fillers[0].fill(&mut dice, 0.0, &mut Vec::new());
        fillers[0].forget_touched();
        self.take(fillers[0].standing.clone());
        self.tell(watch);
        let pool = self.pool();
        let mut round = 0_u64;
        while !self.done(watch)
            && !self.of.arcs.is_empty()
            && most_rounds.is_none_or(|most| round < most)
        {
            if self.of.room.len() < MANY_FARMS {
                self.side_by_side(&mut fillers, round, (&mut dice, &pool), watch);
            } else {
                self.by_regions(&mut fillers, round, (&mut dice, &pool), watch);
            }
            round += 1;
            self.tell(watch);
        }
    }

    /// Loops that prices leave near gaining, for the program to choose from.
    fn pool(&self) -> Pool {
        let left = Left::all(self.of);
        let mut tables = Tables::new(self.of, &left);
        tables.renew(self.duals.gains(self.of));
        Pool::new(
            self.of,
            &tables,
            self.standing.gain as f64 / self.standing.held.len().max(1) as f64,
        )
    }

    fn polish_all(
        &self,
        fillers: &mut [Filler<'_>],
        each: u64,
        (dice, pool): (&mut Dice, &Pool),
        watch: &Watch<'_>,
    ) {
        std::thread::scope(|scope| {
            for filler in fillers {
                let mut dice = Dice::new(dice.roll());
                scope.spawn(move || {
                    for _ in 0..each {
                        if watch.over() {
                            break;
                        }
                        pool.polish(filler, &mut dice, self.goal, watch);
                    }
                });
            }
        });
    }

    fn take(&mut self, standing: Standing) {
        if standing.gain >= self.standing.gain {
            self.standing = standing;
        }
    }

    /// How one round of search goes: warm ones and cold ones take turns.
    fn stretch(&self, round: u64, trials: u64) -> Stretch {
        let typical = self.standing.gain as f64 / self.standing.held.len().max(1) as f64;
        let warm = [0.02, 0.06, 0.01, 0.12][(round % 4) as usize];
        let most_freed = [4, 6, 3, 8][(round % 4) as usize];
        Stretch { trials, warmth: typical * warm, most_freed, tempted: 50 }
    }

    /// Each thread searches all farms; now and then all go on from the best.
    fn side_by_side(
        &mut self,
        fillers: &mut [Filler<'_>],
        round: u64,
        (dice, pool): (&mut Dice, &Pool),
        watch: &Watch<'_>,
    ) {
        if round.is_multiple_of(4) {
            for filler in fillers.iter_mut() {
                filler.restart(self.standing.clone());
            }
        }
        let trials = (150 * self.standing.held.len() as u64).clamp(100, 2_000);
        let jobs: Vec<(Stretch, u64)> = (0..fillers.len() as u64)
            .map(|at| (self.stretch(round + at, trials), dice.roll()))
            .collect();
        run_all(fillers, &jobs, watch);
        for filler in fillers.iter() {
            self.take(filler.standing.clone());
        }
        // Then each thread polishes: the best that stands, or what it found itself.
        fillers[0].restart(self.standing.clone());
        self.polish_all(fillers, 3, (dice, pool), watch);
        self.work += 1;
        for filler in fillers {
            self.take(filler.standing.clone());
        }
    }

    /// Each thread searches its own part of the farms; loops between parts stand still meanwhile.
    fn by_regions(
        &mut self,
        fillers: &mut [Filler<'_>],
        round: u64,
        (dice, pool): (&mut Dice, &Pool),
        watch: &Watch<'_>,
    ) {
        let parts = regions::cut(self.of, fillers.len(), dice);
        let trials = 20 * self.standing.held.len().max(50) as u64;
        let mut jobs = Vec::new();
        for (at, filler) in fillers.iter_mut().enumerate() {
            filler.restart(self.standing.clone());
            filler.region = Some(parts.iter().map(|&part| part == at).collect());
            jobs.push((self.stretch(round, trials), dice.roll()));
        }
        run_all(fillers, &jobs, watch);
        if round % 4 == 3 {
            let each = (self.standing.held.len() / 16).clamp(4, 40) as u64;
            self.polish_all(fillers, each, (dice, pool), watch);
        }
        self.work += 1;
        let mut merged = Standing::none(self.of);
        for it in &self.standing.held {
            if regions::part_of(self.of, &parts, &it.key).is_none() {
                merged.add(self.of, it.clone());
            }
        }
        for (at, filler) in fillers.iter().enumerate() {
            for it in &filler.standing.held {
                if regions::part_of(self.of, &parts, &it.key) == Some(at) {
                    merged.add(self.of, it.clone());
                }
            }
        }
        self.take(merged);
    }
}

fn run_all(fillers: &mut [Filler<'_>], jobs: &[(Stretch, u64)], watch: &Watch<'_>) {
    std::thread::scope(|scope| {
        for (filler, &(stretch, seed)) in fillers.iter_mut().zip(jobs) {
            scope.spawn(move || search(filler, stretch, &mut Dice::new(seed), watch));
        }
    });
}
