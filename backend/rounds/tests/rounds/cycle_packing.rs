//! With unit counts and equal values a round of loops is the cycle-packing problem of kidney exchange:
//! Abraham, Blum and Sandholm, "Clearing algorithms for barter exchange markets", EC 2007 (their cycle
//! formulation: a 0/1 column a cycle, every vertex in one at most). The same seeded sparse graphs are
//! solved here in that formulation by `HiGHS`, a library from a registry.

use std::fmt::Write;

use crate::common::{read, solved};
use highs::{RowProblem, Sense};
use spareloop_domain::dice::Dice;

struct Graph {
    vertices: u32,
    /// From, to, weight.
    arcs: Vec<(u32, u32, i64)>,
}

impl Graph {
    fn sparse(seed: u64, vertices: u32, arcs_a_vertex: u32, most_weight: u32) -> Self {
        let mut dice = Dice::new(seed);
        let mut arcs = std::collections::BTreeMap::new();
        for _ in 0..vertices * arcs_a_vertex {
            let (from, to) = (dice.below(vertices), dice.below(vertices));
            if from != to {
                arcs.insert((from, to), i64::from(1 + dice.below(most_weight)));
            }
        }
        let arcs = arcs.into_iter().map(|((from, to), weight)| (from, to, weight)).collect();
        Self { vertices, arcs }
    }

    /// As a round: every vertex offers one unit and wants one; weights are worths.
    fn round(&self) -> String {
        let list = |write_one: &dyn Fn(u32) -> String| {
            (0..self.vertices).map(write_one).collect::<Vec<_>>().join(",")
        };
        let farms = list(&|v| format!(r#"{{"id":"f{v}","owed":0,"limit":0}}"#));
        let offers = list(&|v| {
            format!(
                r#"{{"id":"o{v}","farm":"f{v}","variety":"v{v}","count":1,"smallest_parcel":1,"unit_value":10}}"#
            )
        });
        let wants = list(&|v| {
            let accepts: Vec<String> = self
                .arcs
                .iter()
                .filter(|it| it.1 == v)
                .map(|it| format!(r#"{{"variety":"v{}","worth":{}}}"#, it.0, it.2))
                .collect();
            format!(r#"{{"id":"w{v}","farm":"f{v}","count":1,"accepts":[{}]}}"#, accepts.join(","))
        });
        let mut text = String::new();
        write!(
            text,
            r#"{{"mode":"loops","max_loop":3,"loop_tolerance":0,"parcel_cost":0,"farms":[{farms}],"offers":[{offers}],"wants":[{wants}],"gap":0,"work":60}}"#
        )
        .unwrap();
        text
    }

    /// The best packing by the published formulation.
    fn packed(&self) -> i64 {
        let weight: std::collections::BTreeMap<(u32, u32), i64> =
            self.arcs.iter().map(|&(from, to, weight)| ((from, to), weight)).collect();
        let mut problem = RowProblem::default();
        let mut at_vertex = vec![Vec::new(); self.vertices as usize];
        for (&(a, b), &first) in weight.range(..).filter(|((a, b), _)| a < b) {
            if let Some(back) = weight.get(&(b, a)) {
                let column = problem.add_integer_column((first + back) as f64, 0..=1);
                for v in [a, b] {
                    at_vertex[v as usize].push((column, 1.0));
                }
            }
        }
        for (&(a, b), &first) in weight.iter().filter(|((a, b), _)| a < b) {
            for (&(_, c), &second) in weight.range((b, 0)..(b + 1, 0)).filter(|((_, c), _)| *c > a)
            {
                if let Some(third) = weight.get(&(c, a)) {
                    let column = problem.add_integer_column((first + second + third) as f64, 0..=1);
                    for v in [a, b, c] {
                        at_vertex[v as usize].push((column, 1.0));
                    }
                }
            }
        }
        for columns in at_vertex.into_iter().filter(|it| !it.is_empty()) {
            problem.add_row(..=1, columns);
        }
        let mut model = problem.optimise(Sense::Maximise);
        model.make_quiet();
        model.set_option("mip_rel_gap", 0.0);
        let solved = model.solve();
        #[allow(clippy::cast_possible_truncation)] // a sum of small whole weights
        let best = solved.objective_value().round() as i64;
        best
    }
}

fn same_optimum(seed: u64, vertices: u32, arcs_a_vertex: u32, most_weight: u32) {
    let graph = Graph::sparse(seed, vertices, arcs_a_vertex, most_weight);
    let answer = solved(&read(&graph.round()));
    let best = graph.packed();
    assert_eq!(answer.objective, best, "{vertices} vertices, seed {seed}");
    assert!(answer.bound < best as f64 + 1.0, "not proved: {} against {best}", answer.bound);
}

#[test]
fn unit_rounds_are_packed_as_well_as_by_the_cycle_formulation() {
    for (seed, vertices) in [(1, 16), (2, 32), (3, 64), (4, 128)] {
        same_optimum(seed, vertices, 3, 1);
        same_optimum(seed, vertices, 3, 9);
    }
}

#[test]
fn two_hundred_and_fifty_six_vertices_too() {
    same_optimum(5, 256, 3, 1);
    same_optimum(6, 256, 4, 9);
}

#[test]
fn a_weighted_graph_of_512_vertices_is_proved() {
    same_optimum(7, 512, 5, 50);
}
