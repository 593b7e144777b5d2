//! A mixed-integer program for the library `HiGHS`: the only place that knows the library.
//!
//! Everything is maximised. What may not enter: loops, farms, what a column stands for.

use std::sync::mpsc::{Receiver, TryRecvError, channel};
use std::time::Duration;

use highs::{Col, HighsModelStatus, RowProblem, Sense};

use crate::watch::Watch;

/// A program while it is put together.
#[derive(Default)]
pub(crate) struct Program {
    problem: RowProblem,
    columns: Vec<Col>,
    /// Of one unit of each column.
    gains: Vec<f64>,
}

/// Whether a column takes whole numbers alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    Whole,
    Any,
}

/// How long a program may be worked on.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Limits {
    pub(crate) seconds: f64,
    pub(crate) nodes: i32,
    /// Stop when the bound is so close, relative to the objective.
    pub(crate) gap: f64,
}

/// How it ended.
#[derive(Debug, Clone)]
pub(crate) struct Solved {
    /// One a column; none if nothing feasible was found.
    pub(crate) values: Option<Vec<f64>>,
    /// What nothing can exceed; below everything if nothing is feasible.
    pub(crate) bound: f64,
}

impl Program {
    pub(crate) fn column(&mut self, gain: f64, least: f64, most: f64, kind: Kind) -> usize {
        let column = match kind {
            Kind::Whole => self.problem.add_integer_column(gain, least..=most),
            Kind::Any => self.problem.add_column(gain, least..=most),
        };
        self.columns.push(column);
        self.gains.push(gain);
        self.columns.len() - 1
    }

    pub(crate) fn columns(&self) -> usize {
        self.columns.len()
    }

    /// least ≤ Σ factor × column ≤ most.
    pub(crate) fn row(&mut self, least: f64, most: f64, terms: &[(usize, f64)]) {
        let terms = terms.iter().map(|&(column, factor)| (self.columns[column], factor));
        self.problem.add_row(least..=most, terms);
    }

    /// The objective is at least so much.
    pub(crate) fn gains_at_least(&mut self, least: f64) {
        let counts = self.gains.iter().copied().enumerate().filter(|it| it.1 != 0.0);
        let terms: Vec<(usize, f64)> = counts.collect();
        self.row(least, f64::INFINITY, &terms);
    }

    /// Works on it from `start`, on a thread of its own.
    pub(crate) fn begin(self, limits: Limits, start: Vec<f64>) -> Aside {
        let (tell, heard) = channel();
        // Not joined: the library can't be stopped halfway, and nobody who asked to stop should wait for it.
        std::thread::spawn(move || {
            if let Some(solved) = self.solve(limits, Some(&start)) {
                // Nobody listens any more where the search was stopped.
                let _ = tell.send(solved);
            }
        });
        Aside { heard, end: End::NotYet }
    }

    /// Works on it, from `start` if that is given.
    pub(crate) fn solve(self, limits: Limits, start: Option<&[f64]>) -> Option<Solved> {
        let Some(start) = start else { return run(self.problem, &self.gains, limits, None)?.ok() };
        match run(self.problem.clone(), &self.gains, limits, Some(start))? {
            Ok(solved) => Some(solved),
            Err(Mistaken) => run(self.problem, &self.gains, limits, None)?.ok(),
        }
    }
}

/// The library gave values that don't come to the objective that it stated: it does so where presolving
/// alone found something better than the start that it was given (release 1.16), and then the values
/// are the start's.
struct Mistaken;

fn run(
    problem: RowProblem,
    gains: &[f64],
    limits: Limits,
    start: Option<&[f64]>,
) -> Option<Result<Solved, Mistaken>> {
    let mut model = problem.try_optimise(Sense::Maximise).ok()?;
    model.make_quiet();
    model.try_set_option("threads", 1).ok()?;
    model.try_set_option("parallel", "off").ok()?;
    model.try_set_option("time_limit", limits.seconds.max(0.01)).ok()?;
    model.try_set_option("mip_max_nodes", limits.nodes).ok()?;
    model.try_set_option("mip_rel_gap", limits.gap).ok()?;
    model.try_set_option("mip_feasibility_tolerance", 1e-7).ok()?;
    if let Some(start) = start {
        // A start that isn't feasible costs time and nothing else.
        let _ = model.try_set_solution(Some(start), None, None, None);
    }
    let solved = model.try_solve().ok()?;
    if solved.status() == HighsModelStatus::Infeasible {
        return Some(Ok(Solved { values: None, bound: f64::NEG_INFINITY }));
    }
    let bound = solved.double_info_value(c"mip_dual_bound").unwrap_or(f64::INFINITY);
    // 2 is the library's "feasible". The library's own reading of it panics where a run ended so early that
    // there is no such figure.
    let feasible = solved.int_info_value(c"primal_solution_status").is_ok_and(|it| it == 2);
    let values = feasible.then(|| solved.get_solution().columns().to_vec());
    if let Some(values) = &values {
        let sum: f64 = values.iter().zip(gains).map(|(value, gain)| value * gain).sum();
        let stated = solved.objective_value();
        if (sum - stated).abs() > 1e-3 + stated.abs() * 1e-6 {
            return Some(Err(Mistaken));
        }
    }
    Some(Ok(Solved { values, bound }))
}

/// A program that another thread works on.
pub(crate) struct Aside {
    heard: Receiver<Solved>,
    end: End,
}

/// How a program that is worked on aside came to its end.
enum End {
    NotYet,
    Solved(Solved),
    Failed,
}

impl Aside {
    /// Whether it has come to an end.
    pub(crate) fn is_over(&mut self) -> bool {
        if matches!(self.end, End::NotYet) {
            match self.heard.try_recv() {
                Ok(solved) => self.end = End::Solved(solved),
                Err(TryRecvError::Disconnected) => self.end = End::Failed,
                Err(TryRecvError::Empty) => {}
            }
        }
        !matches!(self.end, End::NotYet)
    }

    /// What came out, if it comes before the time is over.
    pub(crate) fn wait(mut self, watch: &Watch<'_>) -> Option<Solved> {
        while !self.is_over() && !watch.over() {
            if let Ok(solved) = self.heard.recv_timeout(Duration::from_millis(20)) {
                self.end = End::Solved(solved);
            }
        }
        match self.end {
            End::Solved(solved) => Some(solved),
            End::NotYet | End::Failed => None,
        }
    }
}

/// A whole number that a solver gives with rounding.
pub(crate) fn whole(value: f64) -> i32 {
    #[allow(clippy::cast_possible_truncation)] // counts are far within 32 bits
    let whole = value.round() as i32;
    whole
}

/// How far a row of gains may be beyond what tables say that they come to at most: tables are rounded at
/// every step, by a part in some millions of what stands in them.
pub(crate) fn rounding(most: f64, terms: &[(usize, f64)]) -> f64 {
    let greatest = terms.iter().map(|it| it.1.abs()).fold(most.abs(), f64::max);
    1e-5 * (greatest + 1.0)
}
