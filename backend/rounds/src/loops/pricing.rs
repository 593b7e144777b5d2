//! Pricing: the best contents of every loop after prices, and what they use.
//!
//! Loops are walked, not kept: at a thousand farms there are thirteen million loops of four. Two threads
//! share the work in a fixed way, so that sums come out the same on any machine.

use std::ops::ControlFlow;

use super::contents::{
    Desk, Gain, Left, NONE, best_place, best_sum, greatest, windowed, windowed_alone,
};
use super::standing::arcs_of;
use crate::duals::Duals;
use crate::instance::Instance;

/// Into how many parts the work is cut.
const PARTS: usize = 2;

/// What prices come to.
#[derive(Debug)]
pub(crate) struct Priced {
    /// The value that no answer can exceed, as far as these prices prove it.
    pub(crate) value: f64,
    /// What all gaining loops together would use.
    pub(crate) used: Duals,
}

/// Tables of all arcs at some prices.
pub(crate) struct Tables<'a> {
    of: &'a Instance,
    left: &'a Left,
    gains: Vec<Gain>,
    /// Of arcs with several moves alone.
    exact: Vec<Vec<Gain>>,
    windows: Vec<Vec<Gain>>,
    pub(crate) best: Vec<Gain>,
    /// The best of all arcs into a farm.
    best_into: Vec<Gain>,
    desks: Vec<Desk>,
}

impl<'a> Tables<'a> {
    pub(crate) fn new(of: &'a Instance, left: &'a Left) -> Self {
        Self {
            of,
            left,
            gains: Vec::new(),
            exact: vec![Vec::new(); of.arcs.len()],
            windows: vec![Vec::new(); of.arcs.len()],
            best: vec![NONE; of.arcs.len()],
            best_into: vec![NONE; of.room.len()],
            desks: std::iter::repeat_with(Desk::default).take(PARTS).collect(),
        }
    }

    /// Fills all tables for other gains.
    pub(crate) fn renew(&mut self, gains: Vec<Gain>) {
        self.gains = gains;
        let (of, left, gains) = (self.of, self.left, &self.gains);
        let part = of.arcs.len().div_ceil(PARTS).max(1);
        let tables = self.windows.chunks_mut(part).zip(self.exact.chunks_mut(part));
        let tables = tables.zip(self.best.chunks_mut(part)).zip(&mut self.desks);
        std::thread::scope(|scope| {
            for (at, (((windows, exacts), best), desk)) in tables.enumerate() {
                scope.spawn(move || {
                    let mut spare = Vec::new();
                    let tables = windows.iter_mut().zip(exacts).zip(best);
                    for (within, ((window, exact), best)) in tables.enumerate() {
                        let arc = (at * part + within) as u32;
                        exact.clear();
                        if let Some(alone) = of.alone(arc) {
                            let kind = of.moves[alone as usize];
                            let most = left.most(kind);
                            let gain = gains[alone as usize];
                            windowed_alone(kind, most, gain, of.tolerance, window);
                        } else {
                            exact.extend_from_slice(desk.exact(of, arc, left, gains));
                            windowed(exact, of.tolerance, window, &mut spare);
                        }
                        *best = greatest(window);
                    }
                });
            }
        });
        self.best_into.fill(NONE);
        for (arc, best) in of.arcs.iter().zip(&self.best) {
            let into = &mut self.best_into[arc.to as usize];
            *into = into.max(*best);
        }
    }

    /// Whether some tables left something out, so that nothing can be proved from them.
    pub(crate) fn are_trimmed(&self) -> bool {
        self.desks.iter().any(|desk| desk.trimmed > 0)
    }

    /// The best gain of a loop after parcel costs.
    pub(crate) fn gain(&self, arcs: &[u32]) -> Gain {
        let cost = (self.of.parcel_cost * arcs.len() as i64) as Gain;
        let table = |at: usize| &self.windows[arcs[at] as usize][..];
        let sum = match arcs.len() {
            2 => best_sum(&[table(0), table(1)]),
            3 => best_sum(&[table(0), table(1), table(2)]),
            _ => best_sum(&[table(0), table(1), table(2), table(3)]),
        };
        sum - cost
    }

    /// The values of the parcels of a loop's best contents, farms' limits apart.
    pub(crate) fn values(&self, arcs: &[u32], mut seen: impl FnMut(u32, usize)) {
        let mut windows: [&[Gain]; 4] = [&[]; 4];
        for (window, &arc) in windows.iter_mut().zip(arcs) {
            *window = &self.windows[arc as usize];
        }
        let (from, _) = best_place(&windows[..arcs.len()]);
        for &arc in arcs {
            let value = self.value_within(arc, from);
            seen(arc, value);
        }
    }

    /// The value of the arc's best parcel from `from` to `from` + tolerance.
    fn value_within(&self, arc: u32, from: usize) -> usize {
        let until = from + self.of.tolerance + 1;
        if let Some(alone) = self.of.alone(arc) {
            let kind = self.of.moves[alone as usize];
            let most = self.left.most(kind);
            let value = kind.value.max(1);
            let count = if self.gains[alone as usize] > 0.0 {
                most.min((until - 1) as i32 / value)
            } else {
                kind.least.max((from as i32 + value - 1) / value)
            };
            return super::contents::index(count * value);
        }
        let exact = &self.exact[arc as usize];
        (from.max(1)..until.min(exact.len()))
            .max_by(|&a, &b| exact[a].total_cmp(&exact[b]).then(b.cmp(&a)))
            .unwrap_or(0)
    }

    /// Shows `seen` every loop whose least farm is `first` and whose gain is above `floor`.
    pub(crate) fn walk(&self, first: u32, floor: Gain, seen: &mut impl FnMut(&[u32], Gain)) {
        let cost = |farms: usize| (self.of.parcel_cost * farms as i64) as Gain;
        let most = |arcs: &[u32]| arcs.iter().map(|&arc| self.best[arc as usize]).sum::<Gain>();
        let mut weigh = |arcs: &[u32]| {
            // Even the best of every arc may be too little.
            if most(arcs) - cost(arcs.len()) > floor {
                let gain = self.gain(arcs);
                if gain > floor {
                    seen(arcs, gain);
                }
            }
        };
        if let Some(loops) = self.of.loops_from(first) {
            return loops.iter().for_each(|key| weigh(arcs_of(key)));
        }
        // Even the best way home from everywhere may be too little.
        let home = self.best_into[first as usize].max(0.0) - cost(self.of.most_farms);
        let worth = |arcs: &[u32]| {
            let last = arcs.len() + 1 == self.of.most_farms;
            let most = most(arcs);
            most > NONE && (!last || most + home > floor)
        };
        let _ = self.of.walk(first, &worth, &mut |arcs| {
            weigh(arcs);
            ControlFlow::Continue(())
        });
    }

    /// The value that the prices prove, and what the gaining loops use.
    pub(crate) fn price(&mut self, duals: &Duals) -> Priced {
        self.renew(duals.gains(self.of));
        let mut parts: Vec<(f64, Duals)> = Vec::new();
        let mut desks = std::mem::take(&mut self.desks);
        let it = &*self;
        let work = |part: usize, desk: &mut Desk| {
            let mut sum = 0.0;
            let mut parcels: Vec<Vec<u32>> = vec![Vec::new(); it.of.arcs.len()];
            for first in (part..it.of.room.len()).step_by(PARTS) {
                it.walk(first as u32, 0.0, &mut |arcs, gain| {
                    sum += f64::from(gain);
                    it.values(arcs, |arc, value| {
                        let alike = &mut parcels[arc as usize];
                        if alike.len() <= value {
                            alike.resize(value + 1, 0);
                        }
                        alike[value] += 1;
                    });
                });
            }
            (sum, it.used_by(&parcels, desk))
        };
        let work = &work;
        std::thread::scope(|scope| {
            let desks = desks.iter_mut().enumerate();
            let spawned: Vec<_> =
                desks.map(|(part, desk)| scope.spawn(move || work(part, desk))).collect();
            for it in spawned {
                // A thread that panicked takes this one with it.
                parts.push(it.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)));
            }
        });
        self.desks = desks;
        let mut value = duals.base(self.of);
        let mut used = Duals::none(self.of);
        for (sum, part) in &parts {
            value += sum;
            used.add(part);
        }
        Priced { value, used }
    }

    /// What parcels use, counted by arc and value.
    fn used_by(&self, parcels: &[Vec<u32>], desk: &mut Desk) -> Duals {
        let mut used = Duals::none(self.of);
        for (arc, alike) in parcels.iter().enumerate().filter(|it| !it.1.is_empty()) {
            let arc = arc as u32;
            let alone = self.of.alone(arc);
            if alone.is_none() {
                desk.exact(self.of, arc, self.left, &self.gains);
            }
            for (value, &times) in alike.iter().enumerate().filter(|it| *it.1 > 0) {
                let mut moves = match alone {
                    Some(alone) => {
                        let each = self.of.moves[alone as usize].value.max(1);
                        vec![(alone, value as i32 / each)]
                    }
                    None => desk.moves(self.of, arc, self.left, &self.gains, value),
                };
                for (_, count) in &mut moves {
                    *count *= times as i32;
                }
                used.used_by(self.of, &moves);
            }
        }
        used
    }
}
