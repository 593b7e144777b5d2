//! A round as the solver sees it: everything by number, every farm's parcels to every other in a row.
//!
//! ```text
//! move   so many units of one offer to one want
//! arc    all moves from one farm to another
//! group  moves of an arc that share an offer or a want, so that their counts are decided together
//! ```
//!
//! What may not enter: how anything is solved.

use std::collections::BTreeMap;
use std::ops::ControlFlow;

use crate::input::{Mode, RoundInput};

/// A move that can be made.
#[derive(Debug, Clone, Copy)]
pub(crate) struct MoveKind {
    pub(crate) offer: u32,
    pub(crate) want: u32,
    pub(crate) least: i32,
    /// Tenths a unit.
    pub(crate) value: i32,
    pub(crate) worth: i64,
}

/// All that one farm can pass to another.
#[derive(Debug, Clone)]
pub(crate) struct Arc {
    pub(crate) from: u32,
    pub(crate) to: u32,
    /// Moves, by number; those of a group in an order that keeps few counts open at a time.
    pub(crate) groups: Vec<Vec<u32>>,
}

/// The whole round, by number.
#[derive(Debug, Clone)]
pub(crate) struct Instance {
    pub(crate) most_farms: usize,
    pub(crate) tolerance: usize,
    pub(crate) parcel_cost: i64,
    /// The least and the most that given − received may come to, by farm.
    pub(crate) room: Vec<(i64, i64)>,
    pub(crate) offer_count: Vec<i32>,
    pub(crate) want_count: Vec<i32>,
    pub(crate) offer_farm: Vec<u32>,
    pub(crate) want_farm: Vec<u32>,
    pub(crate) moves: Vec<MoveKind>,
    pub(crate) move_arc: Vec<u32>,
    pub(crate) arcs: Vec<Arc>,
    /// Arcs that leave a farm, by the farm they go to.
    pub(crate) out: Vec<Vec<u32>>,
    pub(crate) offer_arcs: Vec<Vec<u32>>,
    pub(crate) want_arcs: Vec<Vec<u32>>,
    /// Arcs by the farm that they leave and the farm they go to, `u32::MAX` for none; empty where farms are
    /// so many that it would not fit.
    between: Vec<u32>,
    /// All loops by their least farm, each begun at the arc that leaves it; none where they are so many
    /// that walking them anew is better.
    loops: Option<Vec<Vec<[u32; 4]>>>,
}

/// Fewer farms than so many are few.
const FEW_FARMS: usize = 40;
/// Most loops that are kept, of 16 bytes each.
const MOST_KEPT: usize = 2_000_000;
/// Most farms for which all pairs of them are kept: 16 MiB.
const MOST_PAIRED: usize = 2_048;

impl Instance {
    pub(crate) fn new(input: &RoundInput) -> Self {
        let (most_farms, tolerance) = match input.mode {
            Mode::Loops { most_farms, tolerance } => (most_farms, tolerance),
            Mode::Pooled => (0, 0),
        };
        let mut it = Self {
            most_farms,
            tolerance: usize::try_from(tolerance).unwrap_or(0),
            parcel_cost: input.parcel_cost,
            room: input.farms.iter().map(crate::input::Farm::may_move).collect(),
            offer_count: input.offers.iter().map(|offer| narrow(offer.count)).collect(),
            want_count: input.wants.iter().map(|want| narrow(want.count)).collect(),
            offer_farm: input.offers.iter().map(|offer| number(offer.farm)).collect(),
            want_farm: input.wants.iter().map(|want| number(want.farm)).collect(),
            moves: Vec::new(),
            move_arc: Vec::new(),
            arcs: Vec::new(),
            out: vec![Vec::new(); input.farms.len()],
            offer_arcs: vec![Vec::new(); input.offers.len()],
            want_arcs: vec![Vec::new(); input.wants.len()],
            between: Vec::new(),
            loops: None,
        };
        let mut by_arc: BTreeMap<(u32, u32), Vec<MoveKind>> = BTreeMap::new();
        for pair in &input.pairs {
            let offer = &input.offers[pair.offer];
            let possible = offer.count.min(input.wants[pair.want].count);
            if offer.smallest_parcel <= possible {
                let kind = MoveKind {
                    offer: number(pair.offer),
                    want: number(pair.want),
                    least: narrow(offer.smallest_parcel),
                    value: narrow(offer.unit_value),
                    worth: pair.worth,
                };
                let arc = (number(offer.farm), number(input.wants[pair.want].farm));
                by_arc.entry(arc).or_default().push(kind);
            }
        }
        for ((from, to), kinds) in by_arc {
            it.add_arc(from, to, kinds);
        }
        let farms = it.room.len();
        if farms <= MOST_PAIRED {
            it.between = vec![u32::MAX; farms * farms];
            for (at, arc) in it.arcs.iter().enumerate() {
                it.between[arc.from as usize * farms + arc.to as usize] = number(at);
            }
        }
        if let Mode::Loops { .. } = input.mode {
            it.loops = it.all_loops();
        }
        it
    }

    /// All loops whose least farm is `first`, if they are kept.
    pub(crate) fn loops_from(&self, first: u32) -> Option<&[[u32; 4]]> {
        self.loops.as_ref().map(|loops| &loops[first as usize][..])
    }

    /// The same round, solved by loops of so many farms whose parcels may lie so far apart.
    pub(crate) fn by_loops(mut self, most_farms: usize, tolerance: usize) -> Self {
        (self.most_farms, self.tolerance) = (most_farms, tolerance);
        self.loops = self.all_loops();
        self
    }

    fn all_loops(&self) -> Option<Vec<Vec<[u32; 4]>>> {
        let mut loops = Vec::with_capacity(self.room.len());
        let mut left = MOST_KEPT;
        for first in 0..self.room.len() as u32 {
            let mut here = Vec::new();
            let walked = self.walk(first, &|_| true, &mut |arcs| {
                let mut key = [u32::MAX; 4];
                key[..arcs.len()].copy_from_slice(arcs);
                here.push(key);
                if here.len() < left { ControlFlow::Continue(()) } else { ControlFlow::Break(()) }
            });
            if walked.is_break() {
                return None;
            }
            left -= here.len();
            loops.push(here);
        }
        Some(loops)
    }

    /// Shows `seen` every loop whose least farm is `first`, begun at the arc that leaves it, until it has had
    /// enough; nothing that begins with arcs that aren't `worth` going on from.
    pub(crate) fn walk(
        &self,
        first: u32,
        worth: &impl Fn(&[u32]) -> bool,
        seen: &mut impl FnMut(&[u32]) -> ControlFlow<()>,
    ) -> ControlFlow<()> {
        for &arc in &self.out[first as usize] {
            if self.arcs[arc as usize].to > first && worth(&[arc]) {
                self.further(first, &mut [arc, 0, 0, 0], 1, worth, seen)?;
            }
        }
        ControlFlow::Continue(())
    }

    fn further(
        &self,
        first: u32,
        path: &mut [u32; 4],
        length: usize,
        worth: &impl Fn(&[u32]) -> bool,
        seen: &mut impl FnMut(&[u32]) -> ControlFlow<()>,
    ) -> ControlFlow<()> {
        let here = self.arcs[path[length - 1] as usize].to;
        if let Some(last) = self.arc_between(here, first) {
            path[length] = last;
            seen(&path[..=length])?;
        }
        if length + 2 > self.most_farms {
            return ControlFlow::Continue(());
        }
        for &next in &self.out[here as usize] {
            let to = self.arcs[next as usize].to;
            if to > first && path[..length].iter().all(|&it| self.arcs[it as usize].to != to) {
                path[length] = next;
                if worth(&path[..=length]) {
                    self.further(first, path, length + 1, worth, seen)?;
                }
            }
        }
        ControlFlow::Continue(())
    }

    fn add_arc(&mut self, from: u32, to: u32, kinds: Vec<MoveKind>) {
        let arc = number(self.arcs.len());
        let mut numbers = Vec::new();
        for kind in kinds {
            numbers.push(number(self.moves.len()));
            for arcs in
                [&mut self.offer_arcs[kind.offer as usize], &mut self.want_arcs[kind.want as usize]]
            {
                if arcs.last() != Some(&arc) {
                    arcs.push(arc);
                }
            }
            self.moves.push(kind);
            self.move_arc.push(arc);
        }
        let groups = self.grouped(numbers);
        self.arcs.push(Arc { from, to, groups });
        self.out[from as usize].push(arc);
    }

    /// Puts moves that share an offer or a want together, each next to one that it shares with.
    fn grouped(&self, mut left: Vec<u32>) -> Vec<Vec<u32>> {
        let mut groups = Vec::new();
        while !left.is_empty() {
            // An end of the chain first: a move with the fewest others to share with.
            let ties = |of: u32, among: &[u32]| {
                among.iter().filter(|&&other| other != of && self.share(of, other)).count()
            };
            let start = (0..left.len()).min_by_key(|&at| ties(left[at], &left)).unwrap_or(0);
            let mut group = vec![left.remove(start)];
            while let Some(at) = (0..left.len())
                .filter(|&at| group.iter().any(|&known| self.share(known, left[at])))
                .min_by_key(|&at| ties(left[at], &left))
            {
                group.push(left.remove(at));
            }
            groups.push(group);
        }
        groups
    }

    fn share(&self, one: u32, other: u32) -> bool {
        let (one, other) = (self.moves[one as usize], self.moves[other as usize]);
        one.offer == other.offer || one.want == other.want
    }

    /// Whether the search is soon through all of it.
    pub(crate) fn has_few_farms(&self) -> bool {
        self.room.len() < FEW_FARMS
    }

    /// The move of an arc that has but one.
    pub(crate) fn alone(&self, arc: u32) -> Option<u32> {
        let [group] = &self.arcs[arc as usize].groups[..] else { return None };
        let [alone] = group[..] else { return None };
        Some(alone)
    }

    /// The arc from one farm to another.
    pub(crate) fn arc_between(&self, from: u32, to: u32) -> Option<u32> {
        if let Some(&arc) = self.between.get(from as usize * self.room.len() + to as usize) {
            return (arc != u32::MAX).then_some(arc);
        }
        let out = &self.out[from as usize];
        let at = out.binary_search_by_key(&to, |&arc| self.arcs[arc as usize].to).ok()?;
        Some(out[at])
    }
}

/// Counts and values are bounded by the input's reader, well within 32 bits.
fn narrow(number: i64) -> i32 {
    i32::try_from(number).unwrap_or(i32::MAX)
}

fn number(place: usize) -> u32 {
    u32::try_from(place).unwrap_or(u32::MAX)
}
