//! Whether a history of calls that overlap could have happened one after another.
//!
//! The search of Wing and Gong (Testing and verifying concurrent objects, 1993), with Lowe's memory
//! of what was tried (Testing for linearizability, 2017): take any call that began before the first
//! answer that is still open, let the model answer it, go on; where nothing fits, go back. What was
//! done (as a set) and the state it led to are remembered, since the way there doesn't matter.
//!
//! A call whose answer nobody heard may have had its effect at any time after it was made, or never.
//! What may not enter: anything of the program's own.

use std::collections::HashSet;
use std::hash::Hash;

/// The object as it would be if calls came one after another.
pub trait Model {
    /// What it is like between two calls.
    type State: Clone + Eq + Hash;
    /// What is asked of it.
    type Act;
    /// What it answers.
    type Answer;

    /// Before the first call.
    fn start(&self) -> Self::State;

    /// What it is like after an act that was answered so, or nothing if it could not have been
    /// answered so. Where the answer is unknown, what it is like after the act.
    fn after(
        &self,
        state: &Self::State,
        act: &Self::Act,
        answer: Option<&Self::Answer>,
    ) -> Option<Self::State>;
}

/// A call as whoever made it lived it. Times are of one clock that never goes back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Call<Act, Answer> {
    /// What was asked.
    pub act: Act,
    /// When it was first sent.
    pub from: u64,
    /// What came of it.
    pub end: End<Answer>,
}

/// What came of a call.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum End<Answer> {
    /// It was answered.
    Answered {
        /// When.
        at: u64,
        /// What.
        answer: Answer,
    },
    /// Nobody heard an answer, and nobody asked again.
    Unknown,
}

/// What a search came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// There is an order.
    Linearizable,
    /// There is none.
    NotLinearizable,
    /// It was given up.
    Undecided,
}

/// A set of calls, as bits.
type Done = Vec<u64>;

/// Where the search stands: what was done, what that led to, and what can come next.
struct Step<State> {
    state: State,
    next: Vec<usize>,
    /// What was done to come here; nothing at the start.
    by: Option<usize>,
}

/// Looks for an order, and gives up after `patience` steps.
pub fn search<M: Model>(model: &M, calls: &[Call<M::Act, M::Answer>], patience: usize) -> Verdict {
    let mut calls: Vec<&Call<M::Act, M::Answer>> = calls.iter().collect();
    calls.sort_by_key(|call| call.from);
    let mut open = calls.iter().filter(|call| matches!(call.end, End::Answered { .. })).count();
    let mut done: Done = vec![0; calls.len().div_ceil(64)];
    let mut seen: HashSet<(Done, M::State)> = HashSet::new();
    let start = Step { state: model.start(), next: possible(&calls, &done), by: None };
    let mut way = vec![start];
    loop {
        if open == 0 {
            return Verdict::Linearizable;
        }
        let Some(step) = way.last_mut() else {
            return Verdict::NotLinearizable;
        };
        let Some(number) = step.next.pop() else {
            if let Some(call) = step.by {
                take_out(&mut done, call);
                open += usize::from(answer_of(calls[call]).is_some());
            }
            way.pop();
            continue;
        };
        let call = calls[number];
        let Some(state) = model.after(&step.state, &call.act, answer_of(call)) else {
            continue;
        };
        add(&mut done, number);
        if !seen.insert((done.clone(), state.clone())) {
            take_out(&mut done, number);
            continue;
        }
        if seen.len() > patience {
            return Verdict::Undecided;
        }
        open -= usize::from(answer_of(call).is_some());
        way.push(Step { state, next: possible(&calls, &done), by: Some(number) });
    }
}

/// The calls that can come next: those not done that began before the first open answer. The last
/// is tried first, so answered calls stand behind those that nobody heard of, by their answers.
fn possible<Act, Answer>(calls: &[&Call<Act, Answer>], done: &Done) -> Vec<usize> {
    let mut first_answer = u64::MAX;
    let mut found = Vec::new();
    for (number, call) in calls.iter().enumerate() {
        if call.from > first_answer {
            break;
        }
        if has(done, number) {
            continue;
        }
        let at = match call.end {
            End::Answered { at, .. } => at,
            End::Unknown => u64::MAX,
        };
        first_answer = first_answer.min(at);
        found.push((at, number));
    }
    found.retain(|(_, number)| calls[*number].from <= first_answer);
    found.sort_by(|one, other| other.cmp(one));
    found.into_iter().map(|(_, number)| number).collect()
}

fn answer_of<Act, Answer>(call: &Call<Act, Answer>) -> Option<&Answer> {
    match &call.end {
        End::Answered { answer, .. } => Some(answer),
        End::Unknown => None,
    }
}

fn has(done: &Done, number: usize) -> bool {
    done[number / 64] & (1 << (number % 64)) != 0
}

fn add(done: &mut Done, number: usize) {
    done[number / 64] |= 1 << (number % 64);
}

fn take_out(done: &mut Done, number: usize) {
    done[number / 64] &= !(1 << (number % 64));
}
