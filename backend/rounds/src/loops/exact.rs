//! Small rounds, to the proved optimum.
//!
//! A column for every loop that could still be part of something better, and for every move in it. Prices
//! rule out the rest: at prices that prove `bound`, a loop that loses g after prices proves `bound` − g
//! for every answer that uses it. And they make the program tight: after prices no contents of a loop
//! gain more than its best, which as one row a loop brings the program's own relaxation down to what
//! the prices prove. What may not enter: search.

use super::contents::Left;
use super::pricing::Tables;
use super::standing::{Held, Key, Standing, arcs_of, key};
use crate::instance::Instance;
use crate::program::{Aside, Kind, Limits, Program, Solved, rounding, whole};

/// A program over some loops.
pub(crate) struct Exact<'a> {
    of: &'a Instance,
    loops: Vec<Entry>,
    columns: usize,
    left: Left,
    room: Vec<(i64, i64)>,
    /// Nothing at or below is asked for.
    floor: Option<i64>,
}

struct Entry {
    key: Key,
    /// The best gain after prices, and before parcel costs.
    most: f64,
    used: usize,
    level: usize,
    /// Columns by move: (move, its count's column, whether-used column).
    moves: Vec<(u32, usize, Option<usize>)>,
}

/// What came out.
pub(crate) struct Outcome {
    pub(crate) held: Option<Vec<Held>>,
    /// What no choice among these loops can exceed.
    pub(crate) bound: f64,
}

impl<'a> Exact<'a> {
    /// All loops that lose at most `slack` after the prices that `tables` were filled for; none if
    /// they are more than `most`.
    pub(crate) fn new(
        of: &'a Instance,
        tables: &Tables<'_>,
        slack: f64,
        most: usize,
    ) -> Option<Self> {
        let mut loops = Vec::new();
        for first in 0..of.room.len() as u32 {
            // A little more than the slack, because tables are rounded.
            let floor = -(slack * 1.000_1 + 1.0) as f32;
            tables.walk(first, floor, &mut |arcs, gain| {
                let cost = (of.parcel_cost * arcs.len() as i64) as f64;
                let most = f64::from(gain) + cost;
                loops.push(Entry {
                    key: key(of, arcs),
                    most,
                    used: 0,
                    level: 0,
                    moves: Vec::new(),
                });
            });
            if loops.len() > most {
                return None;
            }
        }
        Some(Self {
            of,
            loops,
            columns: 0,
            left: Left::all(of),
            room: of.room.clone(),
            floor: None,
        })
    }

    /// Whether there is no loop to choose.
    pub(crate) fn is_empty(&self) -> bool {
        self.loops.is_empty()
    }

    /// Some loops alone, each with its best gain after prices; all that `beside` holds stands still.
    pub(crate) fn among(of: &'a Instance, loops: &[(Key, f32)], beside: &Standing) -> Self {
        let entry = |&(key, gain): &(Key, f32)| {
            let cost = (of.parcel_cost * arcs_of(&key).len() as i64) as f64;
            Entry { key, most: f64::from(gain) + cost, used: 0, level: 0, moves: Vec::new() }
        };
        let room =
            of.room.iter().zip(&beside.net).map(|(&(least, most), net)| (least - net, most - net));
        Self {
            of,
            loops: loops.iter().map(entry).collect(),
            columns: 0,
            left: beside.left.clone(),
            room: room.collect(),
            floor: None,
        }
    }

    /// Asks for answers alone that come to more: a program that can't is soon through.
    pub(crate) fn better_than(mut self, gain: i64) -> Self {
        self.floor = Some(gain);
        self
    }

    /// Works on it, from `start`.
    pub(crate) fn solve(
        &mut self,
        gains: &[f64],
        start: &[Held],
        limits: Limits,
    ) -> Option<Outcome> {
        let program = self.program(gains);
        // Where something better is asked for, what stands is no start.
        let from = self.floor.is_none().then(|| self.written(start));
        Some(self.outcome(program.solve(limits, from.as_deref())?))
    }

    /// Works on it on a thread of its own, from `start`.
    pub(crate) fn begin(&mut self, gains: &[f64], start: &[Held], limits: Limits) -> Aside {
        let program = self.program(gains);
        let from = self.written(start);
        program.begin(limits, from)
    }

    pub(crate) fn outcome(&self, solved: Solved) -> Outcome {
        Outcome { held: solved.values.map(|values| self.read(&values)), bound: solved.bound }
    }

    /// The program.
    fn program(&mut self, gains: &[f64]) -> Program {
        let of = self.of;
        let mut program = Program::default();
        let mut offers = vec![Vec::new(); of.offer_count.len()];
        let mut wants = vec![Vec::new(); of.want_count.len()];
        let mut farms = vec![Vec::new(); of.room.len()];
        let tolerance = of.tolerance as f64;
        for it in &mut self.loops {
            let arcs = arcs_of(&it.key);
            let cost = (of.parcel_cost * arcs.len() as i64) as f64;
            it.used = program.column(-cost, 0.0, 1.0, Kind::Whole);
            it.level = program.column(0.0, 0.0, f64::INFINITY, Kind::Any);
            it.moves.clear();
            let mut priced = vec![(it.used, -it.most)];
            for &arc in arcs {
                let mut value = Vec::new();
                for &number in of.arcs[arc as usize].groups.iter().flatten() {
                    let made = of.moves[number as usize];
                    let most = self.left.offers[made.offer as usize]
                        .min(self.left.wants[made.want as usize]);
                    let most = if most < made.least { 0.0 } else { f64::from(most) };
                    let count = program.column(made.worth as f64, 0.0, most, Kind::Whole);
                    let mut on = it.used;
                    let mut used = None;
                    if made.least > 1 {
                        on = program.column(0.0, 0.0, 1.0, Kind::Whole);
                        used = Some(on);
                        program.row(f64::NEG_INFINITY, 0.0, &[(on, 1.0), (it.used, -1.0)]);
                        let least = f64::from(made.least);
                        program.row(0.0, f64::INFINITY, &[(count, 1.0), (on, -least)]);
                    }
                    program.row(f64::NEG_INFINITY, 0.0, &[(count, 1.0), (on, -most)]);
                    offers[made.offer as usize].push((count, 1.0));
                    wants[made.want as usize].push((count, 1.0));
                    let tenths = f64::from(made.value);
                    farms[of.arcs[arc as usize].from as usize].push((count, tenths));
                    farms[of.arcs[arc as usize].to as usize].push((count, -tenths));
                    value.push((count, tenths));
                    priced.push((count, gains[number as usize]));
                    it.moves.push((number, count, used));
                }
                // level ≤ value ≤ level + tolerance, and something is given.
                let mut row = value.clone();
                row.push((it.used, -1.0));
                program.row(0.0, f64::INFINITY, &row);
                let mut row = value;
                row.push((it.level, -1.0));
                program.row(0.0, f64::INFINITY, &row);
                row.push((it.used, -tolerance));
                program.row(f64::NEG_INFINITY, 0.0, &row);
            }
            program.row(f64::NEG_INFINITY, rounding(it.most, &priced), &priced);
        }
        for (terms, &count) in
            offers.iter().zip(&self.left.offers).chain(wants.iter().zip(&self.left.wants))
        {
            if !terms.is_empty() {
                program.row(f64::NEG_INFINITY, f64::from(count), terms);
            }
        }
        for (terms, &(least, most)) in farms.iter().zip(&self.room) {
            if !terms.is_empty() {
                program.row(least as f64, most as f64, terms);
            }
        }
        if let Some(floor) = self.floor {
            program.gains_at_least((floor + 1) as f64);
        }
        self.columns = program.columns();
        program
    }

    fn written(&self, start: &[Held]) -> Vec<f64> {
        let mut values = vec![0.0; self.columns];
        for it in start {
            let Some(entry) = self.loops.iter().find(|entry| entry.key == it.key) else { continue };
            values[entry.used] = 1.0;
            let mut level = f64::INFINITY;
            for &arc in arcs_of(&it.key) {
                let value: i32 = it
                    .moves
                    .iter()
                    .filter(|&&(number, _)| self.of.move_arc[number as usize] == arc)
                    .map(|&(number, count)| self.of.moves[number as usize].value * count)
                    .sum();
                level = level.min(f64::from(value));
            }
            values[entry.level] = level;
            for &(number, count) in &it.moves {
                if let Some(&(_, column, used)) = entry.moves.iter().find(|at| at.0 == number) {
                    values[column] = f64::from(count);
                    if let Some(used) = used {
                        values[used] = 1.0;
                    }
                }
            }
        }
        values
    }

    fn read(&self, values: &[f64]) -> Vec<Held> {
        let chosen = self.loops.iter().filter(|entry| values[entry.used] > 0.5);
        let held = |entry: &Entry| {
            let moves =
                entry.moves.iter().map(|&(number, column, _)| (number, whole(values[column])));
            Held::new(self.of, arcs_of(&entry.key), moves.filter(|it| it.1 > 0).collect())
        };
        chosen.map(held).collect()
    }
}
