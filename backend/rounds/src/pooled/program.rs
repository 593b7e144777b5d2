//! The program of a swap day over some moves, all others standing still.
//!
//! One column a move's count, one for whether a pair of farms sends a parcel, and one for whether a move
//! is made where it has a smallest count. As with loops, prices make it tight: no parcel between two
//! farms gains more after prices than its best. What may not enter: which moves to free.

use std::collections::BTreeMap;

use crate::instance::Instance;
use crate::loops::contents::Gain;
use crate::program::{Kind, Limits, Program, rounding, whole};

pub(super) struct Part<'a> {
    of: &'a Instance,
    counts: &'a [i32],
    free: &'a [u32],
    gains: &'a [f64],
    /// The best of every arc after prices and the parcel's cost, where it is known.
    best: Option<&'a [Gain]>,
    /// Columns by free move: its count, whether it is made, whether its parcel is sent.
    columns: Vec<(usize, Option<usize>, Option<usize>)>,
}

impl<'a> Part<'a> {
    pub(super) fn new(
        of: &'a Instance,
        counts: &'a [i32],
        free: &'a [u32],
        (gains, best): (&'a [f64], Option<&'a [Gain]>),
    ) -> Self {
        Self { of, counts, free, gains, best, columns: Vec::new() }
    }

    /// Counts of all moves, and what nothing that leaves the others standing can exceed.
    pub(super) fn solve(&mut self, limits: Limits) -> Option<(Vec<i32>, f64)> {
        let (program, fixed) = self.program();
        let mut start = vec![0.0; program.columns()];
        for (&number, &(count, made, sent)) in self.free.iter().zip(&self.columns) {
            let units = self.counts[number as usize];
            start[count] = f64::from(units);
            for column in [made, sent].into_iter().flatten() {
                if units > 0 {
                    start[column] = 1.0;
                }
            }
        }
        let solved = program.solve(limits, Some(&start))?;
        let mut counts = self.counts.to_vec();
        if let Some(values) = &solved.values {
            for (&number, columns) in self.free.iter().zip(&self.columns) {
                counts[number as usize] = whole(values[columns.0]);
            }
        }
        Some((counts, solved.bound + fixed))
    }

    /// The program, and what stands still gains.
    fn program(&mut self) -> (Program, f64) {
        let of = self.of;
        let mut program = Program::default();
        let mut is_free = vec![false; of.moves.len()];
        for &number in self.free {
            is_free[number as usize] = true;
        }
        let mut offers: Vec<f64> = of.offer_count.iter().map(|&it| f64::from(it)).collect();
        let mut wants: Vec<f64> = of.want_count.iter().map(|&it| f64::from(it)).collect();
        let mut net = vec![0.0; of.room.len()];
        let mut fixed = 0.0;
        let mut sent_anyway = vec![false; of.arcs.len()];
        for (number, &units) in
            self.counts.iter().enumerate().filter(|it| *it.1 > 0 && !is_free[it.0])
        {
            let kind = of.moves[number];
            let arc = of.move_arc[number] as usize;
            let units = f64::from(units);
            offers[kind.offer as usize] -= units;
            wants[kind.want as usize] -= units;
            net[of.arcs[arc].from as usize] += units * f64::from(kind.value);
            net[of.arcs[arc].to as usize] -= units * f64::from(kind.value);
            fixed += units * kind.worth as f64;
            if !std::mem::replace(&mut sent_anyway[arc], true) {
                fixed -= of.parcel_cost as f64;
            }
        }
        let mut rows = Rows::new(of);
        let mut sent: BTreeMap<u32, usize> = BTreeMap::new();
        self.columns.clear();
        for &number in self.free {
            let kind = of.moves[number as usize];
            let arc = of.move_arc[number as usize];
            let most = offers[kind.offer as usize].min(wants[kind.want as usize]).max(0.0);
            let most = if most < f64::from(kind.least) { 0.0 } else { most };
            let count = program.column(kind.worth as f64, 0.0, most, Kind::Whole);
            let parcel = (of.parcel_cost > 0 && !sent_anyway[arc as usize]).then(|| {
                *sent.entry(arc).or_insert_with(|| {
                    program.column(-(of.parcel_cost as f64), 0.0, 1.0, Kind::Whole)
                })
            });
            let made = (kind.least > 1).then(|| program.column(0.0, 0.0, 1.0, Kind::Whole));
            if let Some(made) = made {
                program.row(f64::NEG_INFINITY, 0.0, &[(count, 1.0), (made, -most)]);
                program.row(0.0, f64::INFINITY, &[(count, 1.0), (made, -f64::from(kind.least))]);
            }
            match (parcel, made) {
                (Some(parcel), Some(made)) => {
                    program.row(f64::NEG_INFINITY, 0.0, &[(made, 1.0), (parcel, -1.0)]);
                }
                (Some(parcel), None) => {
                    program.row(f64::NEG_INFINITY, 0.0, &[(count, 1.0), (parcel, -most)]);
                }
                (None, _) => {}
            }
            self.columns.push((count, made, parcel));
            rows.add(of, number, count);
        }
        rows.write(&mut program, of, (&offers, &wants, &net));
        self.tighten(&mut program, &sent);
        (program, fixed)
    }

    /// After prices no parcel gains more than its best contents.
    fn tighten(&self, program: &mut Program, sent: &BTreeMap<u32, usize>) {
        let Some(best) = self.best else { return };
        let mut terms: BTreeMap<u32, Vec<(usize, f64)>> = BTreeMap::new();
        for (&number, &(count, _, _)) in self.free.iter().zip(&self.columns) {
            let row = terms.entry(self.of.move_arc[number as usize]).or_default();
            row.push((count, self.gains[number as usize]));
        }
        for (arc, mut row) in terms {
            let Some(&parcel) = sent.get(&arc) else { continue };
            let most = (f64::from(best[arc as usize]) + self.of.parcel_cost as f64).max(0.0);
            row.push((parcel, -most));
            program.row(f64::NEG_INFINITY, rounding(most, &row), &row);
        }
    }
}

/// What free moves use, by offer, want and farm.
struct Rows {
    offers: Vec<Vec<(usize, f64)>>,
    wants: Vec<Vec<(usize, f64)>>,
    farms: Vec<Vec<(usize, f64)>>,
}

impl Rows {
    fn new(of: &Instance) -> Self {
        Self {
            offers: vec![Vec::new(); of.offer_count.len()],
            wants: vec![Vec::new(); of.want_count.len()],
            farms: vec![Vec::new(); of.room.len()],
        }
    }

    fn add(&mut self, of: &Instance, number: u32, count: usize) {
        let kind = of.moves[number as usize];
        let arc = &of.arcs[of.move_arc[number as usize] as usize];
        let value = f64::from(kind.value);
        self.offers[kind.offer as usize].push((count, 1.0));
        self.wants[kind.want as usize].push((count, 1.0));
        self.farms[arc.from as usize].push((count, value));
        self.farms[arc.to as usize].push((count, -value));
    }

    fn write(&self, program: &mut Program, of: &Instance, left: (&[f64], &[f64], &[f64])) {
        for (terms, &most) in self.offers.iter().zip(left.0).chain(self.wants.iter().zip(left.1)) {
            if !terms.is_empty() {
                program.row(f64::NEG_INFINITY, most, terms);
            }
        }
        for ((terms, &(least, most)), net) in self.farms.iter().zip(&of.room).zip(left.2) {
            if !terms.is_empty() {
                program.row(least as f64 - net, most as f64 - net, terms);
            }
        }
    }
}
