//! One best allocation of what is offered to what is wanted.
//!
//! ```text
//! mod        the two sides, their prices, and how a change of counts is taken in
//! settle     one shortest path from units not yet settled, and what it moves
//! marginals  what one unit more or less of every variety would change: two searches for all
//! ```
//!
//! A minimum-cost flow by successive shortest paths with prices (Ford and Fulkerson 1962; Edmonds
//! and Karp 1972, for the prices), in whole numbers. There are two sides, varieties and wants, and
//! they are alike: each node has a count, some of it placed, the rest *free*, and a price ≥ 0. Kept
//! throughout:
//!
//! 1. price of variety + price of want ≥ gain, for every pair;
//! 2. with equality where units flow.
//!
//! A node is *settled* when its price is 0 or none of it is free. Once all nodes are, the prices
//! prove that the allocation is best: by 1 no allocation gains more than Σ count × price, and by 2
//! this one gains just that. Nothing here depends on where one started from, so the next draw
//! starts from the last one's allocation and settles the differences.
//! What may not enter: floats, and what a gain is made of.

mod marginals;
mod settle;

use super::gains::Gain;

pub(super) use marginals::Marginal;
use settle::Trail;

/// Which of the two.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    Varieties,
    Wants,
}

impl Side {
    const fn other(self) -> Self {
        match self {
            Self::Varieties => Self::Wants,
            Self::Wants => Self::Varieties,
        }
    }
}

/// A pair, as seen from one of its ends.
#[derive(Debug, Clone, Copy)]
struct Pair {
    /// The node at the other end.
    to: u32,
    /// Its place in `Flow::moved`.
    at: u32,
    gain: i64,
}

/// The nodes of one side.
#[derive(Debug, Clone)]
struct Nodes {
    /// The pairs of node n are those from `begins[n]` to `begins[n + 1]`.
    begins: Vec<u32>,
    pairs: Vec<Pair>,
    count: Vec<i64>,
    free: Vec<i64>,
    price: Vec<i64>,
}

impl Nodes {
    fn new(number: usize, ends: impl Iterator<Item = (u32, Pair)> + Clone) -> Self {
        let mut begins = vec![0_u32; number + 1];
        for (node, _) in ends.clone() {
            begins[node as usize + 1] += 1;
        }
        for node in 0..number {
            begins[node + 1] += begins[node];
        }
        let mut next = begins.clone();
        let mut pairs = vec![Pair { to: 0, at: 0, gain: 0 }; begins[number] as usize];
        for (node, pair) in ends {
            let place = &mut next[node as usize];
            pairs[*place as usize] = pair;
            *place += 1;
        }
        Self {
            begins,
            pairs,
            count: vec![0; number],
            free: vec![0; number],
            price: vec![0; number],
        }
    }

    fn number(&self) -> usize {
        self.count.len()
    }

    fn of(&self, node: u32) -> &[Pair] {
        let node = node as usize;
        &self.pairs[self.begins[node] as usize..self.begins[node + 1] as usize]
    }

    fn unsettled(&self, node: u32) -> bool {
        self.free[node as usize] > 0 && self.price[node as usize] > 0
    }
}

/// Counts, the best allocation of them, and the prices that prove it.
#[derive(Debug, Clone)]
pub(super) struct Flow {
    varieties: Nodes,
    wants: Nodes,
    /// Units moved along each pair.
    moved: Vec<i64>,
    trail: Trail,
}

impl Flow {
    /// Nothing offered, nothing wanted yet.
    pub(super) fn new(varieties: usize, wants: usize, gains: &[Gain]) -> Self {
        // Fewer pairs than 2^32: each takes 16 bytes twice.
        let numbered = || (0_u32..).zip(gains);
        let of_varieties = numbered()
            .map(|(at, gain)| (gain.variety, Pair { to: gain.want, at, gain: gain.units }));
        let of_wants = numbered()
            .map(|(at, gain)| (gain.want, Pair { to: gain.variety, at, gain: gain.units }));
        let mut varieties = Nodes::new(varieties, of_varieties);
        for gain in gains {
            // The lowest prices that rule 1 allows while no want has any.
            let price = &mut varieties.price[gain.variety as usize];
            *price = gain.units.max(*price);
        }
        let wants = Nodes::new(wants, of_wants);
        let trail = Trail::new(varieties.number(), wants.number());
        Self { varieties, wants, moved: vec![0; gains.len()], trail }
    }

    /// Takes other counts and finds the best allocation of them.
    pub(super) fn settle(
        &mut self,
        supply: impl IntoIterator<Item = i64>,
        wanted: impl IntoIterator<Item = i64>,
    ) {
        self.recount(Side::Varieties, supply);
        self.recount(Side::Wants, wanted);
        for side in [Side::Varieties, Side::Wants] {
            for node in (0_u32..).take(self.nodes(side).number()) {
                while self.nodes(side).unsettled(node) {
                    self.settle_some(side, node);
                }
            }
        }
    }

    /// The gain of the allocation.
    pub(super) fn welfare(&self) -> i128 {
        let pairs = self.varieties.pairs.iter();
        pairs.map(|pair| i128::from(self.moved[pair.at as usize]) * i128::from(pair.gain)).sum()
    }

    fn nodes(&self, side: Side) -> &Nodes {
        match side {
            Side::Varieties => &self.varieties,
            Side::Wants => &self.wants,
        }
    }

    fn nodes_mut(&mut self, side: Side) -> &mut Nodes {
        match side {
            Side::Varieties => &mut self.varieties,
            Side::Wants => &mut self.wants,
        }
    }

    fn recount(&mut self, side: Side, counts: impl IntoIterator<Item = i64>) {
        for (node, count) in (0_u32..).zip(counts) {
            let at = node as usize;
            let nodes = self.nodes_mut(side);
            nodes.free[at] += count - nodes.count[at];
            nodes.count[at] = count;
            let too_many = -nodes.free[at];
            if too_many > 0 {
                self.take_back(side, node, too_many);
            }
        }
    }

    /// Undoes moves of a node that has fewer units than it moved; the other ends become free.
    fn take_back(&mut self, side: Side, node: u32, mut units: i64) {
        for place in 0..self.nodes(side).of(node).len() {
            let pair = self.nodes(side).of(node)[place];
            let taken = self.moved[pair.at as usize].min(units);
            if taken > 0 {
                self.moved[pair.at as usize] -= taken;
                self.nodes_mut(side).free[node as usize] += taken;
                self.nodes_mut(side.other()).free[pair.to as usize] += taken;
                units -= taken;
            }
        }
    }
}

#[cfg(test)]
mod tests;
