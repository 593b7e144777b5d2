//! A swap day: everybody brings, everybody takes, each farm even over the day.
//!
//! ```text
//! pricing  the best that each farm could pass to each other after prices: what the bound is made of
//! program  the mixed-integer program over some farms, the rest standing still
//! ```
//!
//! Prices prove the bound and say which pairs of farms are worth a look; a first choice comes from loops
//! with a wide tolerance, whose parcels between two farms are then one; the program frees a part of
//! the farms at a time. What may not enter: JSON, the clock.

mod pricing;
mod program;

use spareloop_domain::dice::Dice;

use crate::ascent::{Pace, seek};
use crate::duals::Duals;
use crate::instance::Instance;
use crate::loops;
use crate::loops::contents::{Gain, Left};
use crate::loops::standing::Held;
use crate::program::Limits;
use crate::solve::Goal;
use crate::watch::{Progress, Watch};
use program::Part;

/// What was found.
#[derive(Debug)]
pub(crate) struct Found {
    /// By number, with counts.
    pub(crate) moves: Vec<(u32, i32)>,
    pub(crate) gain: i64,
    pub(crate) duals: Duals,
    pub(crate) proved: Option<f64>,
    pub(crate) work: u64,
}

/// Most moves of a program that frees a part of the farms.
const MOST_MOVES: usize = 320;
/// The share of the time in which the program over all farms may come to an end.
const WHOLE_SHARE: f64 = 0.5;
/// Most moves of a program over all farms at once.
const MOST_MOVES_WHOLE: usize = 40_000;

/// Solves a swap day from what stands already and from `prices`.
pub(crate) fn solve(
    of: &Instance,
    start: &[(u32, i32)],
    prices: &Duals,
    goal: &Goal,
    watch: &Watch<'_>,
) -> Found {
    let mut run = Run::new(of, start, goal);
    run.seek_prices(prices, watch);
    run.begin_with_loops(watch);
    run.whole(watch);
    run.parts(watch);
    let Run { counts, gain, duals, proved, work, .. } = run;
    let moves =
        counts.iter().enumerate().filter(|it| *it.1 > 0).map(|(at, &count)| (at as u32, count));
    Found { moves: moves.collect(), gain, duals, proved, work }
}

struct Run<'a> {
    of: &'a Instance,
    goal: &'a Goal,
    /// Units by move.
    counts: Vec<i32>,
    gain: i64,
    duals: Duals,
    /// After prices, by move.
    gains: Vec<f64>,
    /// The best of every arc after prices and the parcel's cost, if the tables say all.
    best: Option<Vec<Gain>>,
    bound: f64,
    proved: Option<f64>,
    work: u64,
}

impl<'a> Run<'a> {
    fn new(of: &'a Instance, start: &[(u32, i32)], goal: &'a Goal) -> Self {
        let mut run = Self {
            of,
            goal,
            counts: vec![0; of.moves.len()],
            gain: 0,
            duals: Duals::none(of),
            gains: Vec::new(),
            best: None,
            bound: f64::INFINITY,
            proved: None,
            work: 0,
        };
        let mut counts = vec![0; of.moves.len()];
        for &(number, count) in start {
            counts[number as usize] += count;
        }
        run.take(counts);
        run
    }

    /// Takes up other counts if they keep every rule and gain more.
    fn take(&mut self, counts: Vec<i32>) {
        if let Some(gain) = gain_of(self.of, &counts).filter(|&gain| gain > self.gain) {
            (self.counts, self.gain) = (counts, gain);
        }
    }

    fn tell(&self, watch: &Watch<'_>) {
        let bound = self.proved.unwrap_or(self.bound);
        watch.tell(Progress { objective: self.gain, bound, work: self.work });
    }

    fn done(&self, watch: &Watch<'_>) -> bool {
        let bound = self.proved.unwrap_or(self.bound);
        watch.over() || self.goal.reached(self.gain, bound, self.work)
    }

    fn seek_prices(&mut self, prices: &Duals, watch: &Watch<'_>) {
        let left = Left::all(self.of);
        let pace = Pace::from(self.of, prices, self.goal.price_steps() * 2);
        let (duals, bound) =
            seek(self.of, prices, self.gain as f64, pace, &watch.part(0.25), |duals| {
                pricing::price(self.of, &left, duals)
            });
        self.gains = duals.gains(self.of).into_iter().map(f64::from).collect();
        self.best = pricing::best_by_arc(self.of, &left, &duals);
        (self.duals, self.bound) = (duals, bound);
        self.tell(watch);
    }

    /// Loops whose parcels may lie as far apart as farms' limits allow, put together.
    fn begin_with_loops(&mut self, watch: &Watch<'_>) {
        if self.of.parcel_cost == 0 || self.done(watch) {
            return;
        }
        let widest = self.of.room.iter().map(|(least, most)| most - least).max().unwrap_or(0);
        let tolerance = usize::try_from(widest / 2).unwrap_or(0);
        let wide = self.of.clone().by_loops(3, tolerance);
        let goal = Goal {
            gap: 0.0,
            work: Some(self.goal.work.unwrap_or(40).min(40)),
            ..self.goal.clone()
        };
        let found = loops::search_only(&wide, &goal, &self.duals, &watch.part(0.3));
        let mut counts = vec![0; self.of.moves.len()];
        for (number, count) in found.iter().flat_map(|it: &Held| it.moves.iter().copied()) {
            counts[number as usize] += count;
        }
        self.take(counts);
        self.tell(watch);
    }

    /// Moves that an answer better than this one can contain, as far as prices tell.
    fn candidates(&self) -> Vec<u32> {
        let slack = (self.bound - self.gain as f64).max(0.0);
        let possible = |arc: usize| {
            // A little more than the slack, because tables are rounded.
            self.best.as_ref().is_none_or(|best| f64::from(best[arc]) > -slack * 1.000_1 - 1.0)
        };
        (0..self.of.moves.len() as u32)
            .filter(|&number| {
                let arc = self.of.move_arc[number as usize] as usize;
                possible(arc) || self.counts[number as usize] > 0
            })
            .collect()
    }

    fn whole(&mut self, watch: &Watch<'_>) {
        if self.done(watch) {
            return;
        }
        let candidates = self.candidates();
        let share = WHOLE_SHARE;
        let small = if self.of.parcel_cost == 0 { MOST_MOVES_WHOLE } else { 4 * MOST_MOVES };
        if candidates.len() > small {
            return;
        }
        let limits = self.goal.limits(watch.left() * share, 200);
        let mut part =
            Part::new(self.of, &self.counts, &candidates, (&self.gains, self.best.as_deref()));
        if let Some((counts, bound)) = part.solve(limits) {
            self.take(counts);
            // What was left out can't be in anything better than what stands.
            let bound = self.goal.tight(bound).max(self.gain as f64);
            if bound < self.bound && self.best.is_some() {
                self.proved = Some(bound);
            }
        }
        self.work += 1;
        self.tell(watch);
    }

    fn farms_of(&self, moves: &[u32]) -> Vec<bool> {
        let mut farms = vec![false; self.of.room.len()];
        for &number in moves {
            let arc = &self.of.arcs[self.of.move_arc[number as usize] as usize];
            farms[arc.from as usize] = true;
            farms[arc.to as usize] = true;
        }
        farms
    }

    /// Counts of all moves after two parts without a common farm were solved side by side: both together,
    /// and each alone, should one of them have come to nothing that holds.
    fn solved(&self, parts: [&[u32]; 2], limits: Limits) -> Vec<Vec<i32>> {
        let solve = |free: &[u32]| {
            if free.is_empty() {
                return None;
            }
            let prices = (&self.gains[..], self.best.as_deref());
            Part::new(self.of, &self.counts, free, prices).solve(limits).map(|it| it.0)
        };
        let [one, other] = std::thread::scope(|scope| {
            let beside = scope.spawn(|| solve(parts[1]));
            let one = solve(parts[0]);
            // A thread that panicked takes this one with it.
            [one, beside.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))]
        });
        let both = one.as_ref().zip(other.as_ref()).map(|(one, other)| {
            let mut counts = one.clone();
            for &number in parts[1] {
                counts[number as usize] = other[number as usize];
            }
            counts
        });
        both.into_iter().chain(one).chain(other).collect()
    }

    /// Frees two parts of the farms at a time.
    fn parts(&mut self, watch: &Watch<'_>) {
        let mut dice = Dice::new(self.goal.seed);
        let mut size = MOST_MOVES;
        while !self.done(watch) && !self.of.arcs.is_empty() {
            let candidates = self.candidates();
            let free = near(self.of, &candidates, size, &mut dice);
            // Another part with none of its farms, so that what both find holds together.
            let farms = self.farms_of(&free);
            let rest: Vec<u32> = candidates
                .iter()
                .copied()
                .filter(|&number| {
                    let arc = &self.of.arcs[self.of.move_arc[number as usize] as usize];
                    !farms[arc.from as usize] && !farms[arc.to as usize]
                })
                .collect();
            let other = near(self.of, &rest, size, &mut dice);
            let most = watch.left().min(4.0);
            let limits = Limits { nodes: 400, gap: 1e-5, ..self.goal.limits(most, 0) };
            let before = self.gain;
            for counts in self.solved([&free, &other], limits) {
                self.take(counts);
            }
            self.work += 1;
            if self.gain > before {
                self.tell(watch);
                size = (size + 10).min(2 * MOST_MOVES);
            } else {
                size = (size - 5).max(MOST_MOVES / 3);
            }
            if free.len() == candidates.len() && self.gain == before {
                return;
            }
        }
    }
}

/// Moves among farms near one another, about `size` of them.
fn near(of: &Instance, candidates: &[u32], size: usize, dice: &mut Dice) -> Vec<u32> {
    if candidates.len() <= size {
        return candidates.to_vec();
    }
    let mut by_farm = vec![Vec::new(); of.room.len()];
    for &number in candidates {
        let arc = &of.arcs[of.move_arc[number as usize] as usize];
        by_farm[arc.from as usize].push((arc.to, number));
        by_farm[arc.to as usize].push((arc.from, number));
    }
    let mut inside = vec![false; of.room.len()];
    let mut free = Vec::new();
    let Some(&first) = dice.pick(candidates) else { return free };
    let mut waiting = vec![of.arcs[of.move_arc[first as usize] as usize].from];
    while free.len() < size {
        let farm = if waiting.is_empty() {
            dice.below(of.room.len() as u32)
        } else {
            waiting.swap_remove(dice.below(waiting.len() as u32) as usize)
        };
        if std::mem::replace(&mut inside[farm as usize], true) {
            if inside.iter().all(|&it| it) {
                break;
            }
            continue;
        }
        for &(other, number) in &by_farm[farm as usize] {
            if inside[other as usize] {
                free.push(number);
            } else {
                waiting.push(other);
            }
        }
    }
    free
}

/// What counts come to, if they keep every rule.
fn gain_of(of: &Instance, counts: &[i32]) -> Option<i64> {
    let mut left = Left::all(of);
    let mut net = vec![0_i64; of.room.len()];
    let mut gain = 0;
    let mut parcels = vec![false; of.arcs.len()];
    for (number, &count) in counts.iter().enumerate().filter(|it| *it.1 != 0) {
        let kind = of.moves[number];
        let arc = of.move_arc[number] as usize;
        if count < kind.least {
            return None;
        }
        left.offers[kind.offer as usize] -= count;
        left.wants[kind.want as usize] -= count;
        net[of.arcs[arc].from as usize] += i64::from(count) * i64::from(kind.value);
        net[of.arcs[arc].to as usize] -= i64::from(count) * i64::from(kind.value);
        gain += i64::from(count) * kind.worth;
        if !std::mem::replace(&mut parcels[arc], true) {
            gain -= of.parcel_cost;
        }
    }
    let in_stock = left.offers.iter().chain(&left.wants).all(|&left| left >= 0);
    let even = net.iter().zip(&of.room).all(|(net, (least, most))| (least..=most).contains(&net));
    (in_stock && even).then_some(gain)
}
