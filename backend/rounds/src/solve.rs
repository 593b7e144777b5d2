//! Solving a round: prices, search, proof, and the answer held against every rule before it is shown.

use std::sync::atomic::AtomicBool;

use crate::answer::{Loop, Move, RoundAnswer, Swaps, from_thousandths, gap};
use crate::check::check;
use crate::duals::Duals;
use crate::input::{Mode, RoundInput};
use crate::instance::Instance;
use crate::loops;
use crate::loops::standing::Held;
use crate::program::Limits;
use crate::verify::certified_thousandths;
use crate::watch::{Clock, Hears, Watch};

/// When to stop.
#[derive(Debug, Clone)]
pub(crate) struct Goal {
    pub(crate) gap: f64,
    pub(crate) work: Option<u64>,
    pub(crate) seed: u64,
    /// What divides every objective.
    pub(crate) grid: i64,
}

impl Goal {
    fn new(input: &RoundInput) -> Self {
        let grid = input.pairs.iter().map(|pair| pair.worth).fold(input.parcel_cost, divisor);
        Self { gap: input.gap, work: input.work, seed: input.seed, grid: grid.max(1) }
    }

    /// The greatest objective that there can be at or below a bound that was reckoned with rounding.
    pub(crate) fn tight(&self, bound: f64) -> f64 {
        if !bound.is_finite() {
            return bound;
        }
        let rounding = 1e-6_f64.max(bound.abs() * 1e-9);
        ((bound + rounding) / self.grid as f64).floor() * self.grid as f64
    }

    /// How long a program may take: by time, or by its nodes where the same answer must come out again.
    pub(crate) fn limits(&self, seconds: f64, nodes_a_round: u64) -> Limits {
        let gap = self.gap.max(1e-6);
        match self.work {
            None => Limits { seconds, nodes: i32::MAX, gap },
            Some(work) => {
                let nodes = i32::try_from(work.saturating_mul(nodes_a_round)).unwrap_or(i32::MAX);
                Limits { seconds: f64::INFINITY, nodes, gap }
            }
        }
    }

    pub(crate) fn reached(&self, objective: i64, bound: f64, work: u64) -> bool {
        gap(objective, bound) <= self.gap || self.has_worked(work)
    }

    /// Whether the work is done that was asked for.
    pub(crate) fn has_worked(&self, work: u64) -> bool {
        self.work.is_some_and(|most| work >= most)
    }

    /// Most steps of the search for prices.
    pub(crate) fn price_steps(&self) -> u64 {
        self.work.map_or(1_500, |work| (work * 20).clamp(60, 1_500))
    }
}

/// What tells a run how long it may go, and whom it tells how far it is.
pub struct Outside<'a> {
    /// The time.
    pub clock: &'a dyn Clock,
    /// Set from outside: stop with the best so far.
    pub stop: &'a AtomicBool,
    /// Hears of progress.
    pub hears: &'a Hears<'a>,
}

impl std::fmt::Debug for Outside<'_> {
    fn fmt(&self, to: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        to.debug_struct("Outside").finish_non_exhaustive()
    }
}

/// Solves a round. There is always an answer: nobody swapping anything is one.
///
/// `standing` is an answer to this round or to one like it, from which the search goes on: what of it
/// still holds is kept, its prices are where the search for prices begins.
pub fn solve(
    input: &RoundInput,
    standing: Option<(&Swaps, &crate::answer::Prices)>,
    outside: &Outside<'_>,
) -> RoundAnswer {
    let of = Instance::new(input);
    let watch = Watch::new(outside.clock, input.seconds, outside.stop, outside.hears);
    let goal = Goal::new(input);
    let prices =
        standing.map_or_else(|| Duals::none(&of), |(_, prices)| Duals::from_prices(prices));
    let (swaps, gain, duals, proved, work) = match input.mode {
        Mode::Loops { .. } => {
            let start = standing.map_or_else(Vec::new, |(swaps, _)| loops_of(&of, swaps));
            let found = loops::solve(&of, &start, &prices, &goal, &watch);
            let swaps = Swaps::Loops(found.held.iter().map(|it| named(&of, it)).collect());
            (swaps, found.gain, found.duals, found.proved, found.work)
        }
        Mode::Pooled => {
            let start = standing.map_or_else(Vec::new, |(swaps, _)| moves_of(&of, swaps));
            let found = crate::pooled::solve(&of, &start, &prices, &goal, &watch);
            let swaps = Swaps::Pooled(moves(&of, &found.moves));
            (swaps, found.gain, found.duals, found.proved, found.work)
        }
    };
    certified(input, &goal, swaps, gain, (&duals, proved), work)
}

/// The answer, held against every rule, with the bound that its prices prove in whole numbers.
fn certified(
    input: &RoundInput,
    goal: &Goal,
    swaps: Swaps,
    gain: i64,
    (duals, proved): (&Duals, Option<f64>),
    work: u64,
) -> RoundAnswer {
    // A fault of the solver must never reach a farm: then nobody swaps anything, which is always right.
    let checked = check(input, &swaps);
    debug_assert_eq!(checked, Ok(i128::from(gain)), "the solver broke a rule");
    let (swaps, objective) = match checked {
        Ok(objective) if objective == i128::from(gain) && gain >= 0 => (swaps, gain),
        _ => (nothing(input.mode), 0),
    };
    let prices = duals.to_prices();
    let thousandths = certified_thousandths(input, &prices).ok();
    let certified = thousandths.map_or(f64::INFINITY, from_thousandths);
    let bound = proved.map_or(certified, |proved| proved.min(certified));
    RoundAnswer {
        objective,
        bound: goal.tight(bound).max(objective as f64),
        swaps,
        certificate: thousandths.map(|thousandths| (prices, thousandths)),
        work,
    }
}

fn divisor(one: i64, other: i64) -> i64 {
    if other == 0 { one } else { divisor(other, one % other) }
}

fn nothing(mode: Mode) -> Swaps {
    match mode {
        Mode::Loops { .. } => Swaps::Loops(Vec::new()),
        Mode::Pooled => Swaps::Pooled(Vec::new()),
    }
}

fn named(of: &Instance, it: &Held) -> Loop {
    let farm = |&arc: &u32| of.arcs[arc as usize].from as usize;
    Loop { farms: it.arcs().iter().map(farm).collect(), moves: moves(of, &it.moves) }
}

fn moves(of: &Instance, moves: &[(u32, i32)]) -> Vec<Move> {
    let one = |&(number, count): &(u32, i32)| {
        let kind = of.moves[number as usize];
        Move { offer: kind.offer as usize, want: kind.want as usize, count: i64::from(count) }
    };
    moves.iter().map(one).collect()
}

/// The moves that are still possible, by number.
fn numbered(of: &Instance, moves: &[Move]) -> Option<Vec<(u32, i32)>> {
    let number = |it: &Move| {
        let arc = of.arc_between(*of.offer_farm.get(it.offer)?, *of.want_farm.get(it.want)?)?;
        let found = of.arcs[arc as usize].groups.iter().flatten().copied().find(|&number| {
            let kind = of.moves[number as usize];
            kind.offer as usize == it.offer && kind.want as usize == it.want
        })?;
        let count = i32::try_from(it.count).ok()?;
        (count >= of.moves[found as usize].least).then_some((found, count))
    };
    moves.iter().map(number).collect()
}

fn loops_of(of: &Instance, swaps: &Swaps) -> Vec<Held> {
    let Swaps::Loops(loops) = swaps else { return Vec::new() };
    let held = |it: &Loop| {
        let next = it.farms.iter().cycle().skip(1);
        let arcs: Option<Vec<u32>> = it
            .farms
            .iter()
            .zip(next)
            .map(|(&from, &to)| of.arc_between(from as u32, to as u32))
            .collect();
        Some(Held::new(of, &arcs?, numbered(of, &it.moves)?))
    };
    loops.iter().filter_map(held).collect()
}

fn moves_of(of: &Instance, swaps: &Swaps) -> Vec<(u32, i32)> {
    let moves: Vec<Move> = match swaps {
        Swaps::Pooled(moves) => moves.clone(),
        Swaps::Loops(loops) => loops.iter().flat_map(|it| it.moves.clone()).collect(),
    };
    moves.iter().filter_map(|it| numbered(of, std::slice::from_ref(it))).flatten().collect()
}
