//! The compact model, as anybody would write it first: a 0/1 column a loop, a count a loop and move.

use std::collections::BTreeMap;

use highs::{Col, RowProblem, Sense};
use spareloop_rounds::input::{Mode, Pair, RoundInput};

/// Objective and bound that the library reaches on it.
pub(crate) fn solve(round: &RoundInput, seconds: f64) -> (i64, f64) {
    let Mode::Loops { tolerance, .. } = round.mode else { return (0, f64::INFINITY) };
    let mut arcs: BTreeMap<(usize, usize), Vec<&Pair>> = BTreeMap::new();
    for pair in &round.pairs {
        let (offer, want) = (&round.offers[pair.offer], &round.wants[pair.want]);
        if offer.smallest_parcel <= offer.count.min(want.count) {
            arcs.entry((offer.farm, want.farm)).or_default().push(pair);
        }
    }
    let mut model = Model::new(round);
    for &(a, b) in arcs.keys().filter(|(a, b)| a < b) {
        if arcs.contains_key(&(b, a)) {
            model.add_loop(&[&arcs[&(a, b)], &arcs[&(b, a)]], tolerance);
        }
    }
    for &(a, b) in arcs.keys().filter(|(a, b)| a < b) {
        for c in a + 1..round.farms.len() {
            if let (Some(second), Some(third)) = (arcs.get(&(b, c)), arcs.get(&(c, a))) {
                model.add_loop(&[&arcs[&(a, b)], second, third], tolerance);
            }
        }
    }
    model.solve(seconds)
}

struct Model<'a> {
    round: &'a RoundInput,
    problem: RowProblem,
    offers: Vec<Vec<(Col, f64)>>,
    wants: Vec<Vec<(Col, f64)>>,
    farms: Vec<Vec<(Col, f64)>>,
}

impl<'a> Model<'a> {
    fn new(round: &'a RoundInput) -> Self {
        Self {
            round,
            problem: RowProblem::default(),
            offers: vec![Vec::new(); round.offers.len()],
            wants: vec![Vec::new(); round.wants.len()],
            farms: vec![Vec::new(); round.farms.len()],
        }
    }

    fn add_loop(&mut self, arcs: &[&Vec<&Pair>], tolerance: i64) {
        let cost = -(self.round.parcel_cost as f64) * arcs.len() as f64;
        let used = self.problem.add_integer_column(cost, 0..=1);
        let level = self.problem.add_column(0.0, 0..);
        for arc in arcs {
            let mut value = Vec::new();
            for pair in *arc {
                let (offer, want) = (&self.round.offers[pair.offer], &self.round.wants[pair.want]);
                let most = offer.count.min(want.count) as f64;
                let count = self.problem.add_integer_column(pair.worth as f64, 0.0..=most);
                let made = self.problem.add_integer_column(0.0, 0..=1);
                self.problem.add_row(..=0, [(made, 1.0), (used, -1.0)]);
                self.problem.add_row(..=0, [(count, 1.0), (made, -most)]);
                self.problem.add_row(0.., [(count, 1.0), (made, -(offer.smallest_parcel as f64))]);
                self.offers[pair.offer].push((count, 1.0));
                self.wants[pair.want].push((count, 1.0));
                let tenths = offer.unit_value as f64;
                self.farms[offer.farm].push((count, tenths));
                self.farms[want.farm].push((count, -tenths));
                value.push((count, tenths));
            }
            let with = |more: &[(Col, f64)]| value.iter().chain(more).copied().collect::<Vec<_>>();
            self.problem.add_row(0.., with(&[(used, -1.0)]));
            self.problem.add_row(0.., with(&[(level, -1.0)]));
            self.problem.add_row(..=0, with(&[(level, -1.0), (used, -(tolerance as f64))]));
        }
    }

    fn solve(mut self, seconds: f64) -> (i64, f64) {
        for (columns, it) in self.offers.drain(..).zip(&self.round.offers) {
            self.problem.add_row(..=it.count as f64, columns);
        }
        for (columns, it) in self.wants.drain(..).zip(&self.round.wants) {
            self.problem.add_row(..=it.count as f64, columns);
        }
        for (columns, it) in self.farms.drain(..).zip(&self.round.farms) {
            let (least, most) = it.may_move();
            self.problem.add_row(least as f64..=most as f64, columns);
        }
        let mut model = self.problem.optimise(Sense::Maximise);
        model.make_quiet();
        model.set_option("time_limit", seconds);
        model.set_option("threads", 2);
        model.set_option("mip_rel_gap", 0.0);
        let solved = model.solve();
        let bound = solved.double_info_value(c"mip_dual_bound").unwrap_or(f64::INFINITY);
        #[allow(clippy::cast_possible_truncation)] // a sum of whole worths
        let objective = solved.objective_value().round() as i64;
        (objective, bound)
    }
}
