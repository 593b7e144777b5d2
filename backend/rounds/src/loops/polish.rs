//! Polishing: the program over a few neighbouring loops at once, held and not held.
//!
//! Refilling gives one loop after the other its best contents; what two loops should share it can't say.
//! The program can, for a dozen or two loops in a moment. What may not enter: which answer is kept.

use spareloop_domain::dice::Dice;

use super::contents::Gain;
use super::exact::Exact;
use super::fill::Filler;
use super::pricing::Tables;
use super::standing::{Key, arcs_of, key};
use crate::duals::Duals;
use crate::instance::Instance;
use crate::program::Limits;
use crate::solve::Goal;
use crate::watch::Watch;

/// Loops freed at a time, and loops that aren't held offered beside them.
const FREED: u32 = 7;
const BESIDE: usize = 12;
/// Most nodes of one program.
const NODES: i32 = 150;

/// Loops that could be part of something better, best first, with their gains after prices.
#[derive(Debug)]
pub(crate) struct Pool {
    loops: Vec<(Key, Gain)>,
    /// Places in `loops`, by farm.
    by_farm: Vec<Vec<u32>>,
}

impl Pool {
    /// Loops that lose at most about half of what a typical loop gains, after the tables' prices.
    pub(crate) fn new(of: &Instance, tables: &Tables<'_>, typical: f64) -> Self {
        let mut loops: Vec<(Key, Gain)> = Vec::new();
        let floor = -(typical * 0.5 + 1.0) as Gain;
        for first in 0..of.room.len() as u32 {
            tables.walk(first, floor, &mut |arcs, gain| loops.push((key(of, arcs), gain)));
        }
        loops.sort_by(|one, other| other.1.total_cmp(&one.1).then(one.0.cmp(&other.0)));
        loops.truncate(of.room.len() * 60);
        let mut by_farm = vec![Vec::new(); of.room.len()];
        for (place, (key, _)) in loops.iter().enumerate() {
            for &arc in arcs_of(key) {
                by_farm[of.arcs[arc as usize].from as usize].push(place as u32);
            }
        }
        Self { loops, by_farm }
    }

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
        let mut farms: Vec<u32> = Vec::new();
        let mut freed = Vec::new();
        let before = filler.standing.gain;
        for turn in 0..4 * FREED {
            if freed.len() as u32 == FREED || filler.standing.held.is_empty() {
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
        for _ in 0..6 * BESIDE {
            if loops.len() >= freed.len() + BESIDE {
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
        let mut exact = Exact::among(of, &loops, &filler.standing);
        let gains = f64_gains(&filler.prices, of);
        let limits = Limits { nodes: NODES, gap: 1e-4, ..goal.limits(watch.left().min(3.0), 0) };
        let found = exact.solve(&gains, &freed, limits).and_then(|outcome| outcome.held);
        let gained: i64 = found.iter().flatten().map(|it| it.gain).sum();
        let better = found.filter(|_| filler.standing.gain + gained > before);
        let mut taken = Vec::new();
        let all = better.into_iter().flatten().all(|it| {
            taken.push(it.key);
            filler.try_add(it)
        });
        if !all || taken.is_empty() {
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

    /// Held loops outside the pool may gain anything: no row is made tight for them.
    fn gain_of(&self, key: &Key) -> Gain {
        self.loops.iter().find(|it| it.0 == *key).map_or(1e9, |it| it.1)
    }
}

fn f64_gains(prices: &Duals, of: &Instance) -> Vec<f64> {
    prices.gains(of).into_iter().map(f64::from).collect()
}
