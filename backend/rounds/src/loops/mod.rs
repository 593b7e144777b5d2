//! Loops: which farms pass on to which in a ring, and what.
//!
//! ```text
//! contents  what one farm can pass to another, by the value of the parcel (radix: what it keeps apart)
//! pricing   the best contents of every loop after prices
//! standing  loops that were chosen, and what they leave
//! fill      puts in the loop that gains most, again and again (within: where limits bind; journal:
//!           tables from before, for when a trial is taken back)
//! search    frees neighbouring loops and refills, on and on (searchers: on two threads)
//! regions   parts of a network that two threads can search side by side
//! exact     small rounds, to the proved optimum
//! pool      loops that are worth a look, as prices tell
//! polish    the program over a few neighbouring loops, held and not held
//! ```
//!
//! Prices first: they prove the bound, and they guide the search. What may not enter: JSON, the clock.

pub(crate) mod contents;
mod exact;
pub(crate) mod fill;
mod journal;
mod polish;
mod pool;
pub(crate) mod pricing;
mod radix;
mod regions;
mod search;
mod searchers;
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
use pool::Pool;
use pricing::Tables;
use standing::{Held, Standing};

/// How many threads search side by side.
const SEARCHERS: usize = 2;
/// Most loops over which the optimum is sought by proof.
const MOST_LOOPS_PROVED: usize = 120;
/// Rounds of search before that: the better the answer that stands, the more loops prices rule out.
const ROUNDS_BEFORE_PROOF: u64 = 6;
/// Rounds of search from warm to cold, at first.
const CYCLE: u64 = 20;
/// What a search accepts to lose at first and at last, in gains of a typical loop.
const WARM: f64 = 0.05;
const COLD: f64 = 0.003;
/// Where it goes on from an answer that stands already.
const LUKEWARM: f64 = 0.015;
/// First guess of an offer's or a want's price: so much of what its units are worth.
const GUESSED_SHARE: f64 = 0.25;

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
    if run.done(watch) {
        return run.found();
    }
    let pool = run.pool();
    run.search(&pool, watch, Some(ROUNDS_BEFORE_PROOF));
    run.prove(&pool, watch);
    run.search(&pool, watch, None);
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
    let pool = run.pool();
    run.search(&pool, watch, None);
    run.standing.held
}

struct Run<'a> {
    of: &'a Instance,
    goal: &'a Goal,
    standing: Standing,
    duals: Duals,
    warm: f64,
    bound: f64,
    proved: Option<f64>,
    work: u64,
}

impl<'a> Run<'a> {
    fn new(of: &'a Instance, start: &[Held], duals: Duals, goal: &'a Goal) -> Self {
        let mut standing = Standing::of(of, start.to_vec());
        if !standing.is_sound(of) {
            standing = Standing::none(of);
            for it in start {
                // What doesn't fit any more is left to the search.
                let _ = standing.try_add(of, it.clone());
            }
        }
        let warm = if standing.held.is_empty() { WARM } else { LUKEWARM };
        Self { of, goal, standing, duals, warm, bound: f64::INFINITY, proved: None, work: 0 }
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

    /// Where prices leave few loops: the program over all of them, while a search goes on beside it.
    fn prove(&mut self, pool: &Pool, watch: &Watch<'_>) {
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
        if exact.is_empty() {
            // Prices rule out every loop: nothing is better than what stands.
            self.proved = Some(self.standing.gain as f64);
            return self.tell(watch);
        }
        let gains: Vec<f64> = gains.into_iter().map(f64::from).collect();
        let limits = self.goal.limits(watch.left() * 0.97, 10);
        let mut aside = exact.begin(&gains, &self.standing.held, limits);
        let before = self.standing.clone();
        self.search_until(pool, watch, (1, None), |it| {
            watch.over() || it.goal.has_worked(it.work) || aside.is_over()
        });
        let Some(solved) = aside.wait(watch) else { return };
        let Outcome { held, bound } = exact.outcome(solved);
        // Loops that prices ruled out can't be in anything better than what stood before.
        let bound = self.goal.tight(bound).max(before.gain as f64);
        let found = held.map(|held| Standing::of(self.of, held)).filter(|it| it.is_sound(self.of));
        let found = found.filter(|it| it.gain >= before.gain).unwrap_or(before);
        if self.goal.reached(found.gain, bound, 0) {
            // The same whatever the search beside it came to, which depends on how quick the machine is.
            self.standing = found;
        } else {
            self.take(&found);
        }
        if bound < self.bound {
            self.proved = Some(bound.max(self.standing.gain as f64));
        }
        self.tell(watch);
    }

    /// A first choice, and prices that prove a close bound.
    fn seek_prices(&mut self, watch: &Watch<'_>) {
        let left = Left::all(self.of);
        let mut tables = Tables::new(self.of, &left);
        let target = self.standing.gain as f64;
        let pace = Pace::from(self.of, &self.duals, self.goal.price_steps());
        if self.duals == Duals::none(self.of) {
            self.duals = Duals::guess(self.of, GUESSED_SHARE);
        }
        let watch_part = watch.part(0.35);
        let (duals, bound) = seek(self.of, &self.duals, target, pace, &watch_part, |duals| {
            let priced = tables.price(duals);
            (priced.value, priced.used)
        });
        (self.duals, self.bound) = (duals, bound);
        self.tell(watch);
    }

    /// The loops that are worth a look at the prices that were found.
    fn pool(&self) -> Pool {
        Pool::at(self.of, &self.duals, self.bound.min(1e15))
    }

    fn search(&mut self, pool: &Pool, watch: &Watch<'_>, most_rounds: Option<u64>) {
        self.search_until(pool, watch, (SEARCHERS, most_rounds), |it| it.done(watch));
    }

    fn search_until(
        &mut self,
        pool: &Pool,
        watch: &Watch<'_>,
        (searchers, most_rounds): (usize, Option<u64>),
        mut over: impl FnMut(&Self) -> bool,
    ) {
        if over(self) || self.of.arcs.is_empty() {
            return;
        }
        let mut dice = Dice::new(self.goal.seed);
        let mut fillers: Vec<Filler<'_>> = (0..searchers)
            .map(|_| {
                let mut filler = Filler::new(self.of, pool, self.standing.clone());
                filler.prices = self.duals.clone();
                filler
            })
            .collect();
        fillers[0].touch_all();
        fillers[0].fill(&mut dice, 0.0, &mut Vec::new());
        fillers[0].forget_touched();
        self.take(&fillers[0].standing);
        self.tell(watch);
        let mut current = self.standing.clone();
        let mut round = 0_u64;
        while !over(self) && most_rounds.is_none_or(|most| round < most) {
            let warmth = self.warmth(round);
            if self.of.has_few_farms() {
                self.side_by_side(&mut fillers, (round, warmth), (&mut dice, pool), watch);
            } else {
                self.by_regions(
                    &mut fillers,
                    &mut current,
                    (round, warmth),
                    (&mut dice, pool),
                    watch,
                );
            }
            round += 1;
            self.tell(watch);
        }
    }

    /// How much worse is taken: less and less within a cycle, and each cycle is twice as long as the one
    /// before. So it depends on no clock, and however long the search goes, the last whole
    /// cycle took a quarter of it or more.
    fn warmth(&self, round: u64) -> f64 {
        let (mut begun, mut length) = (0, CYCLE);
        while round >= begun + length {
            begun += length;
            length *= 2;
        }
        let passed = (round - begun) as f64 / length as f64;
        let typical = self.standing.gain as f64 / self.standing.held.len().max(1) as f64;
        typical * self.warm * (COLD / self.warm).powf(passed)
    }

    fn take(&mut self, standing: &Standing) {
        if standing.gain > self.standing.gain {
            self.standing = standing.clone();
        }
    }
}
