//! What the rooms under test reach by `planted`: the commits as they happen, a program that is
//! stopped at a write, and a second program that steps in between a read and a write.

use std::cell::RefCell;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::rc::Rc;

use spareloop_cli::book::{BookError, Keep, StockBook, entries};
use spareloop_domain::ledger::{Draft, Entry};
use spareloop_domain::planted::{self, Moment};

/// A program that is stopped at a moment.
#[derive(Debug, Clone, Copy)]
pub struct Stop {
    /// When.
    pub at: Moment,
    /// So many such moments pass before.
    pub after: u32,
}

/// A second program on a book, that notes something while the first is about to.
pub struct Intruder {
    /// Its hold of the book.
    pub file: StockBook,
    /// What it notes.
    pub drafts: Vec<Draft>,
    /// Its wall clock.
    pub wall: u64,
    /// How it went.
    pub went: Option<Result<Vec<Entry>, BookError>>,
}

#[derive(Default)]
struct Inner {
    stop: Option<Stop>,
    stopped: Option<Moment>,
    book_commits: u32,
    intruder: Option<Intruder>,
}

/// The wire between the world and the rooms, for this thread.
#[derive(Clone, Default)]
pub struct Wire(Rc<RefCell<Inner>>);

/// How a program's act ended.
pub enum Ended<T> {
    /// It answered.
    Answered(T),
    /// It was stopped on the way.
    Stopped(Moment),
}

/// What unwinds a program that is stopped.
struct Killed;

impl Wire {
    /// Lets a program be stopped.
    pub fn arm(&self, stop: Option<Stop>) {
        self.0.borrow_mut().stop = stop;
    }

    /// Lets a second program step in at the next read of a chain's head.
    pub fn send_in(&self, intruder: Intruder) {
        self.0.borrow_mut().intruder = Some(intruder);
    }

    /// The second program, whether it stepped in or not.
    pub fn call_back(&self) -> Option<Intruder> {
        self.0.borrow_mut().intruder.take()
    }

    /// Runs a program's act, and says how often the book was committed meanwhile.
    pub fn run<T>(&self, act: impl FnOnce() -> T) -> (Ended<T>, u32) {
        let wire = self.clone();
        planted::watch(Some(Box::new(move |moment| wire.on(moment))));
        let commits = self.0.borrow().book_commits;
        let ended = catch_unwind(AssertUnwindSafe(act));
        planted::watch(None);
        let commits = self.0.borrow().book_commits - commits;
        match ended {
            Ok(value) => (Ended::Answered(value), commits),
            Err(killed) if killed.is::<Killed>() => {
                let at = self.stopped().expect("who is killed was stopped somewhere");
                (Ended::Stopped(at), commits)
            }
            Err(panic) => resume_unwind(panic),
        }
    }

    /// The moment at which the act before was stopped, also where it answered all the same.
    pub fn stopped(&self) -> Option<Moment> {
        self.0.borrow_mut().stopped.take()
    }

    fn on(&self, moment: Moment) {
        if moment == Moment::BookCommitted {
            self.0.borrow_mut().book_commits += 1;
        }
        if moment == Moment::HeadRead {
            let intruder = self.0.borrow_mut().intruder.take_if(|intruder| intruder.went.is_none());
            if let Some(mut intruder) = intruder {
                let (drafts, wall) = (intruder.drafts.clone(), intruder.wall);
                intruder.went = Some(
                    intruder
                        .file
                        .write(Keep::Kept, |connection| entries::append(connection, drafts, wall)),
                );
                self.0.borrow_mut().intruder = Some(intruder);
            }
        }
        let mut inner = self.0.borrow_mut();
        match &mut inner.stop {
            Some(stop) if stop.at == moment && stop.after == 0 => {
                inner.stop = None;
                inner.stopped = Some(moment);
                drop(inner);
                resume_unwind(Box::new(Killed));
            }
            Some(stop) if stop.at == moment => stop.after -= 1,
            _ => {}
        }
    }
}
