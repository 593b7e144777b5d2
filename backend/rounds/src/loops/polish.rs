//! Polishing: the program over a few neighbouring loops at once, held and not held.
//!
//! Refilling gives one loop after the other its best contents; what two loops should share it can't say.
//! The program can, for a dozen or two loops in a moment. What may not enter: which answer is kept.

use spareloop_domain::dice::Dice;

use super::contents::Gain;
use super::exact::Exact;
use super::fill::Filler;
use super::pool::Pool;
use super::standing::{Held, Key, arcs_of};
use crate::duals::Duals;
use crate::instance::Instance;
use crate::program::Limits;
use crate::solve::Goal;
use crate::watch::Watch;

/// Loops freed at a time, and loops that aren't held offered beside them: in a small round always so many,
/// in a large one, where a program is the sooner through the smaller it is, fewer as often as more.
const FREED: u32 = 7;
const BESIDE: u32 = 12;
const MOST_FREED: u32 = 9;
const MOST_BESIDE: u32 = 14;
/// Most nodes of one program.
const NODES: i32 = 150;
/// Most loops whose counts are set anew together.
const MOST_RECOUNTED: usize = 8;

impl Pool {
    /// Frees a few neighbouring loops, lets the program choose among them and some that aren't held,
    /// and takes what gains.
    pub(crate) fn polish(
        &self,
        filler: &mut Filler<'_>,
        dice: &mut Dice,
        goal: &Goal,
        watch: &Watch<'_>,
    ) {
        let of = filler.of;
        let inside = |filler: &Filler<'_>, key: &Key| {
            let inside = |region: &Vec<bool>| {
                arcs_of(key).iter().all(|&arc| region[of.arcs[arc as usize].from as usize])
            };
            filler.region.as_ref().is_none_or(inside)
        };
        let (most_freed, most_beside) = if of.has_few_farms() {
            (FREED, BESIDE as usize)
        } else {
            (3 + dice.below(MOST_FREED - 2), 2 + dice.below(MOST_BESIDE - 1) as usize)
        };
        let mut farms: Vec<u32> = Vec::new();
        let mut freed = Vec::new();
        let before = filler.standing.gain;
        for turn in 0..4 * most_freed {
            if freed.len() as u32 == most_freed || filler.standing.held.is_empty() {
                break;
            }
            let place = match dice.pick(&farms) {
                Some(&farm) if turn > 0 => {
                    let Some(&place) = dice.pick(filler.standing.at_farm(farm)) else { continue };
                    place as usize
                }
                _ => dice.below(filler.standing.held.len() as u32) as usize,
            };
            if !inside(filler, &filler.standing.held[place].key) {
                continue;
            }
            let it = filler.remove(place);
            farms.extend(it.arcs().iter().map(|&arc| of.arcs[arc as usize].from));
            freed.push(it);
        }
        let mut loops: Vec<(Key, Gain)> =
            freed.iter().map(|it| (it.key, self.gain_of(&it.key))).collect();
        for _ in 0..6 * most_beside {
            if loops.len() >= freed.len() + most_beside {
                break;
            }
            let Some(&farm) = dice.pick(&farms) else { break };
            let places = &self.by_farm[farm as usize];
            // The better ones more often.
            let most = places.len() as u32;
            let Some(&place) = places.get(dice.below(most).min(dice.below(most)) as usize) else {
                continue;
            };
            let (key, gain) = self.loops[place as usize];
            let new = !filler.standing.holds(&key) && loops.iter().all(|it| it.0 != key);
            if new && inside(filler, &key) {
                loops.push((key, gain));
            }
        }
        let exact = Exact::among(of, &loops, &filler.standing);
        Self::settle(filler, exact, freed, before, (goal, watch));
    }

    /// Sets the counts of all loops anew where they are few: the same loops, and the program says what each
    /// had better hold. Kept if that comes to more than `best`. Each choice of loops is tried once.
    pub(crate) fn recount(
        &self,
        filler: &mut Filler<'_>,
        best: i64,
        (goal, watch): (&Goal, &Watch<'_>),
    ) {
        let mut keys: Vec<Key> = filler.standing.held.iter().map(|it| it.key).collect();
        keys.sort_unstable();
        if keys.len() > MOST_RECOUNTED || !filler.recounted.insert(keys) {
            return;
        }
        let before = filler.standing.gain;
        let mut freed = Vec::new();
        while !filler.standing.held.is_empty() {
            freed.push(filler.remove(0));
        }
        let loops: Vec<(Key, Gain)> =
            freed.iter().map(|it| (it.key, self.gain_of(&it.key))).collect();
        let exact = Exact::among(filler.of, &loops, &filler.standing).better_than(best);
        Self::settle(filler, exact, freed, before, (goal, watch));
    }

    /// Puts in what the program finds if it gains, and else what was freed.
    fn settle(
        filler: &mut Filler<'_>,
        mut exact: Exact<'_>,
        freed: Vec<Held>,
        before: i64,
        (goal, watch): (&Goal, &Watch<'_>),
    ) {
        let of = filler.of;
        let gains = f64_gains(&filler.prices, of);
        let limits = Limits { nodes: NODES, gap: 1e-4, ..goal.limits(watch.left().min(3.0), 0) };
        let found = exact.solve(&gains, &freed, limits).and_then(|outcome| outcome.held);
        let gained: i64 = found.iter().flatten().map(|it| it.gain).sum();
        let better = found.filter(|_| filler.standing.gain + gained > before);
        let mut taken = Vec::new();
        for it in better.into_iter().flatten() {
            taken.push(it.key);
            filler.add(it);
        }
        if taken.is_empty() || !filler.standing.is_sound(of) {
            // Nothing better, or counts that a rounding solver got wrong: back to what stood.
            for key in taken {
                if let Some(place) = filler.standing.place_of(of, &key) {
                    filler.remove(place);
                }
            }
            for it in freed {
                filler.add(it);
            }
        }
        filler.forget_touched();
    }
}

fn f64_gains(prices: &Duals, of: &Instance) -> Vec<f64> {
    prices.gains(of).into_iter().map(f64::from).collect()
}
