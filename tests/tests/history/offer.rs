//! An offer and its holds, as they would be if everybody came one after another.
//!
//! Written from the words of the rule, not from the server's code: a hold is made once, of no more
//! than is free; the giver agrees to what is held; what is held or agreed can be released, once, and
//! is free again. What may not enter: anything of the program's own.

use crate::search::Model;

/// An offer of so many units, with so many holds that were ever asked for, each of so many.
#[derive(Debug, Clone)]
pub struct Offer {
    /// Units offered.
    pub units: u32,
    /// What each hold asks for; its place is its number.
    pub asked: Vec<u32>,
}

/// What is asked of an offer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Act {
    /// For a hold.
    Ask(usize),
    /// To agree to a hold.
    Agree(usize),
    /// To let a hold go.
    Release(usize),
    /// What is free.
    LookAtOffer,
    /// How a hold stands.
    LookAtHold(usize),
}

/// What was answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Answer {
    /// It was done.
    Done,
    /// It can't be done as things are.
    Refused,
    /// So many are free.
    Free(u32),
    /// The hold stands so.
    Standing(Standing),
}

/// How a hold stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Standing {
    /// There is none.
    Missing,
    /// Kept back.
    Held,
    /// The giver agreed.
    Agreed,
    /// Let go.
    Released,
}

impl Standing {
    /// Whether it binds its units.
    pub const fn binds(self) -> bool {
        matches!(self, Self::Held | Self::Agreed)
    }
}

/// An offer between two acts.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct State {
    free: u32,
    holds: Vec<Standing>,
}

impl Offer {
    /// What an act does, or nothing where it can't be done.
    fn done(&self, state: &State, act: Act) -> Option<State> {
        let mut after = state.clone();
        match act {
            Act::Ask(hold) => {
                if state.holds[hold] != Standing::Missing {
                    return None;
                }
                after.free = state.free.checked_sub(self.asked[hold])?;
                after.holds[hold] = Standing::Held;
            }
            Act::Agree(hold) => {
                if state.holds[hold] != Standing::Held {
                    return None;
                }
                after.holds[hold] = Standing::Agreed;
            }
            Act::Release(hold) => {
                if !state.holds[hold].binds() {
                    return None;
                }
                after.free += self.asked[hold];
                after.holds[hold] = Standing::Released;
            }
            Act::LookAtOffer | Act::LookAtHold(_) => {}
        }
        Some(after)
    }
}

impl Model for Offer {
    type State = State;
    type Act = Act;
    type Answer = Answer;

    fn start(&self) -> State {
        State { free: self.units, holds: vec![Standing::Missing; self.asked.len()] }
    }

    fn after(&self, state: &State, act: &Act, answer: Option<&Answer>) -> Option<State> {
        let done = self.done(state, *act);
        match (answer, act) {
            (None, _) => Some(done.unwrap_or_else(|| state.clone())),
            (Some(Answer::Done), Act::Ask(_) | Act::Agree(_) | Act::Release(_)) => done,
            (Some(Answer::Refused), Act::Ask(_) | Act::Agree(_) | Act::Release(_)) => {
                done.is_none().then(|| state.clone())
            }
            (Some(Answer::Free(free)), Act::LookAtOffer) => {
                (*free == state.free).then(|| state.clone())
            }
            (Some(Answer::Standing(seen)), Act::LookAtHold(hold)) => {
                (*seen == state.holds[*hold]).then(|| state.clone())
            }
            _ => None,
        }
    }
}
