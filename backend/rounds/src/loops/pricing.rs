//! Pricing: the best contents of every loop after prices, and what they use.
//!
//! Loops are walked, not kept: at a thousand farms there are thirteen million loops of four. Two threads
//! share the work in a fixed way, so that sums come out the same on any machine.

use super::contents::{Desk, Gain, Left, NONE, best_place, best_sum, windowed};
use super::standing::Key;
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
                    let tables = windows.iter_mut().zip(exacts).zip(best);
                    for (within, ((window, exact), best)) in tables.enumerate() {
                        exact.clear();
                        exact.extend_from_slice(desk.exact(
                            of,
                            (at * part + within) as u32,
                            left,
                            gains,
                        ));
                        windowed(exact, of.tolerance, window);
                        *best = window.iter().copied().fold(NONE, |a, b| if b > a { b } else { a });
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
            let exact = &self.exact[arc as usize];
            let until = (from + self.of.tolerance + 1).min(exact.len());
            let value = (from.max(1)..until)
                .max_by(|&a, &b| exact[a].total_cmp(&exact[b]).then(b.cmp(&a)))
                .unwrap_or(0);
            seen(arc, value);
        }
    }

    /// Shows `seen` every loop whose least farm is `first` and whose gain could be above `floor`.
    pub(crate) fn walk(&self, first: u32, floor: Gain, seen: &mut impl FnMut(&[u32], Gain)) {
        for &arc in &self.of.out[first as usize] {
            let best = self.best[arc as usize];
            if best > NONE && self.of.arcs[arc as usize].to > first {
                let mut path: Key = [arc, u32::MAX, u32::MAX, u32::MAX];
                self.further(first, &mut path, 1, best, floor, seen);
            }
        }
    }

    fn further(
        &self,
        first: u32,
        path: &mut Key,
        length: usize,
        so_far: Gain,
        floor: Gain,
        seen: &mut impl FnMut(&[u32], Gain),
    ) {
        let of = self.of;
        let cost = of.parcel_cost as Gain;
        let here = of.arcs[path[length - 1] as usize].to;
        for &next in &of.out[here as usize] {
            let best = self.best[next as usize];
            let to = of.arcs[next as usize].to;
            if best == NONE || to < first {
                continue;
            }
            path[length] = next;
            if to == first {
                if so_far + best - cost * (length + 1) as Gain > floor {
                    let gain = self.gain(&path[..=length]);
                    if gain > floor {
                        seen(&path[..=length], gain);
                    }
                }
            } else if length + 2 <= of.most_farms
                && path[..length].iter().all(|&it| of.arcs[it as usize].to != to)
            {
                // Even the best way home from everywhere may be too little.
                let home = self.best_into[first as usize].max(0.0);
                let rest = if length + 2 == of.most_farms { home } else { Gain::INFINITY };
                if so_far + best + rest - cost * (length + 2) as Gain > floor {
                    self.further(first, path, length + 1, so_far + best, floor, seen);
                }
            }
            path[length] = u32::MAX;
        }
    }

    /// The value that the prices prove, and what the gaining loops use.
    pub(crate) fn price(&mut self, duals: &Duals) -> Priced {
        self.renew(duals.gains(self.of));
        let mut parts: Vec<(f64, Duals)> = Vec::new();
        let mut desks = std::mem::take(&mut self.desks);
        let it = &*self;
        let work = |part: usize, desk: &mut Desk| {
            let mut sum = 0.0;
            let mut parcels: Vec<(u32, usize)> = Vec::new();
            for first in (part..it.of.room.len()).step_by(PARTS) {
                it.walk(first as u32, 0.0, &mut |arcs, gain| {
                    sum += f64::from(gain);
                    it.values(arcs, |arc, value| parcels.push((arc, value)));
                });
            }
            (sum, it.used_by(parcels, desk))
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

    /// What parcels of such values use.
    fn used_by(&self, mut parcels: Vec<(u32, usize)>, desk: &mut Desk) -> Duals {
        parcels.sort_unstable();
        let mut used = Duals::none(self.of);
        for of_arc in parcels.chunk_by(|one, other| one.0 == other.0) {
            let arc = of_arc[0].0;
            desk.exact(self.of, arc, self.left, &self.gains);
            for alike in of_arc.chunk_by(|one, other| one.1 == other.1) {
                let mut moves = desk.moves(self.of, arc, self.left, &self.gains, alike[0].1);
                for (_, count) in &mut moves {
                    *count *= alike.len() as i32;
                }
                used.used_by(self.of, &moves);
            }
        }
        used
    }
}
