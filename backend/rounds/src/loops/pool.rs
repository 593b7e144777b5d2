//! Loops that are worth a look: those that prices leave nearest to gaining.
//!
//! In a large network most loops can't be part of anything good, and prices say which: a search that
//! never meets them is several times as quick. What may not enter: what stands.

use super::contents::Gain;
use super::pricing::Tables;
use super::standing::{Key, arcs_of, key};
use crate::duals::Duals;
use crate::instance::Instance;

/// Most loops kept, a farm. So few because the search is the better the fewer it weighs; in a small round,
/// where it soon has weighed all, there are more.
const MOST_A_FARM: usize = 8;
const MOST_A_FARM_OF_FEW: usize = 20;
/// Loops that lose so many gains of a typical loop after prices are left out even where there are few.
const FAR: f64 = 1.0;
/// A first guess of how many loops a farm is in, for what a typical loop gains.
const LOOPS_A_FARM: f64 = 2.5;

/// Loops, best first, and where they are.
#[derive(Debug)]
pub(crate) struct Pool {
    /// With their best gains after prices.
    pub(crate) loops: Vec<(Key, Gain)>,
    /// Places in `loops`, by farm.
    pub(crate) by_farm: Vec<Vec<u32>>,
    /// Places in `loops`, by arc.
    pub(crate) by_arc: Vec<Vec<u32>>,
}

impl Pool {
    /// The loops that are worth a look at prices that prove `bound`.
    pub(crate) fn new(of: &Instance, tables: &Tables<'_>, bound: f64) -> Self {
        let farms = of.room.len();
        let each = if of.has_few_farms() { MOST_A_FARM_OF_FEW } else { MOST_A_FARM };
        let most = farms * each;
        let typical = bound.max(0.0) / (LOOPS_A_FARM * farms.max(1) as f64);
        let floor = -(typical * FAR + 1.0) as Gain;
        let mut loops: Vec<(Key, Gain)> = Vec::new();
        for first in 0..farms as u32 {
            tables.walk(first, floor, &mut |arcs, gain| loops.push((key(of, arcs), gain)));
            if loops.len() > 4 * most {
                best_first(&mut loops, most);
            }
        }
        best_first(&mut loops, most);
        let mut it = Self {
            loops,
            by_farm: vec![Vec::new(); farms],
            by_arc: vec![Vec::new(); of.arcs.len()],
        };
        for (place, (key, _)) in it.loops.iter().enumerate() {
            for &arc in arcs_of(key) {
                it.by_farm[of.arcs[arc as usize].from as usize].push(place as u32);
                it.by_arc[arc as usize].push(place as u32);
            }
        }
        it
    }

    /// At some prices, with all units of every offer and want.
    pub(crate) fn at(of: &Instance, prices: &Duals, bound: f64) -> Self {
        let left = super::contents::Left::all(of);
        let mut tables = Tables::new(of, &left);
        tables.renew(prices.gains(of));
        Self::new(of, &tables, bound)
    }

    /// The best gain after prices of a loop; of one that isn't in the pool, more than any.
    pub(crate) fn gain_of(&self, key: &Key) -> Gain {
        let places = &self.by_arc[key[0] as usize];
        let mut here = places.iter().map(|&place| &self.loops[place as usize]);
        here.find(|it| it.0 == *key).map_or(1e9, |it| it.1)
    }
}

fn best_first(loops: &mut Vec<(Key, Gain)>, most: usize) {
    loops.sort_unstable_by(|one, other| other.1.total_cmp(&one.1).then(one.0.cmp(&other.0)));
    loops.truncate(most);
}
