//! Rounds of search on several threads: all of them on all farms, or each on its own part of them.
//!
//! What each does depends on its own luck alone, so that the answer is the same however quick they are.
//! What may not enter: how long a search goes on.

use spareloop_domain::dice::Dice;

use super::fill::Filler;
use super::pool::Pool;
use super::search::{Stretch, search};
use super::standing::{Held, Standing};
use super::{Run, regions};
use crate::watch::Watch;

/// After so many rounds of search the program polishes: where each thread searches all farms, and where
/// each has its part.
const POLISH_EVERY: u64 = 6;
const POLISH_PARTS_EVERY: u64 = 8;
/// Most trials of a round of search, for each thread: rounds are as short in a large network.
const MOST_TRIALS: u64 = 7_500;
/// Most loops freed at a time, by round.
const MOST_FREED: [u32; 4] = [4, 6, 3, 8];
/// Per cent of trials in which units are made dearer.
const TEMPTED: u32 = 50;

impl Run<'_> {
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

    fn recount_all(&self, fillers: &mut [Filler<'_>], pool: &Pool, watch: &Watch<'_>) {
        let best = self.standing.gain;
        std::thread::scope(|scope| {
            for filler in fillers {
                scope.spawn(move || pool.recount(filler, best, (self.goal, watch)));
            }
        });
    }

    /// Each thread searches all farms by itself.
    pub(super) fn side_by_side(
        &mut self,
        fillers: &mut [Filler<'_>],
        (round, warmth): (u64, f64),
        (dice, pool): (&mut Dice, &Pool),
        watch: &Watch<'_>,
    ) {
        let trials = 50 * self.standing.held.len().max(8) as u64;
        let most_freed = MOST_FREED[(round % 4) as usize];
        let jobs: Vec<(Stretch, u64)> = (0..fillers.len())
            .map(|_| (Stretch { trials, warmth, most_freed, tempted: TEMPTED }, dice.roll()))
            .collect();
        for held in run_all(fillers, &jobs, watch).into_iter().flatten() {
            self.take(&Standing::of(self.of, held));
        }
        for filler in fillers.iter() {
            self.take(&filler.standing);
        }
        self.recount_all(fillers, pool, watch);
        if round % POLISH_EVERY == POLISH_EVERY - 1 {
            self.polish_all(fillers, 1, (dice, pool), watch);
        }
        self.work += 1;
        for filler in fillers.iter() {
            self.take(&filler.standing);
        }
    }

    /// Each thread searches its own part of the farms; loops between parts stand still meanwhile.
    pub(super) fn by_regions(
        &mut self,
        fillers: &mut [Filler<'_>],
        current: &mut Standing,
        (round, warmth): (u64, f64),
        (dice, pool): (&mut Dice, &Pool),
        watch: &Watch<'_>,
    ) {
        let parts = regions::cut(self.of, fillers.len(), dice);
        let trials = (10 * self.standing.held.len().max(50) as u64).min(MOST_TRIALS);
        let most_freed = MOST_FREED[(round % 4) as usize];
        let mut jobs = Vec::new();
        for (at, filler) in fillers.iter_mut().enumerate() {
            filler.follow(current);
            filler.region = Some(parts.iter().map(|&part| part == at).collect());
            jobs.push((Stretch { trials, warmth, most_freed, tempted: TEMPTED }, dice.roll()));
        }
        let best = run_all(fillers, &jobs, watch);
        if best.iter().any(Option::is_some) {
            let found: Vec<&[Held]> = fillers
                .iter()
                .zip(&best)
                .map(|(filler, best)| best.as_deref().unwrap_or(&filler.standing.held))
                .collect();
            let merged = regions::merged(self.of, &parts, current, &found);
            self.take(&merged);
        }
        if round % POLISH_PARTS_EVERY == POLISH_PARTS_EVERY - 1 {
            let each = (self.standing.held.len() / 16).clamp(4, 40) as u64;
            self.polish_all(fillers, each, (dice, pool), watch);
        }
        self.work += 1;
        let found: Vec<&[Held]> = fillers.iter().map(|it| &it.standing.held[..]).collect();
        *current = regions::merged(self.of, &parts, current, &found);
        self.take(current);
    }
}

fn run_all(
    fillers: &mut [Filler<'_>],
    jobs: &[(Stretch, u64)],
    watch: &Watch<'_>,
) -> Vec<Option<Vec<Held>>> {
    std::thread::scope(|scope| {
        let spawned: Vec<_> = fillers
            .iter_mut()
            .zip(jobs)
            .map(|(filler, &(stretch, seed))| {
                scope.spawn(move || search(filler, stretch, &mut Dice::new(seed), watch))
            })
            .collect();
        // A thread that panicked takes this one with it.
        let joined = spawned.into_iter().map(std::thread::ScopedJoinHandle::join);
        joined.map(|it| it.unwrap_or_else(|panic| std::panic::resume_unwind(panic))).collect()
    })
}
