//! The deterministic simulation of a farm's sync: a seed decides everything.
//!
//! ```text
//! world      the steps of a seed; growers: what people and programs do; mishaps: what goes wrong
//! device     a book's real file, its programs, its clock; house: the real store over a real file
//! post       letters lost, doubled, delayed, reordered
//! wire       into the rooms under test: commits as they happen, programs stopped at a write
//! witness    what stands in the files, read beside the rooms; facts: what was committed
//! looks rest what must hold after every step, and in the end; clocks: the order of stamps
//! bugs runs  planted mistakes, many seeds over the cores
//! ```
//!
//! The client's courier and the server's store are the real ones; only HTTP, the clocks and the
//! operating system's randomness are not. What may not enter: any rule of the sync itself.
//!
//! - `SPARELOOP_SIMULATION_SEEDS=10000` runs more seeds than CI does.
//! - `SPARELOOP_SIMULATION_SEED=7` runs one, aloud; with `SPARELOOP_SIMULATION_PLANTED=GapAccepted`
//!   it does so with that mistake planted. The mistake alone: all seeds until one shows it.
#![allow(unreachable_pub, clippy::unwrap_used, clippy::expect_used)]

mod bugs;
mod clocks;
mod device;
mod facts;
mod growers;
mod house;
mod looks;
mod mishaps;
mod post;
mod reach;
mod rest;
mod runs;
mod template;
mod trace;
mod violation;
mod wire;
mod witness;
mod world;

use spareloop_domain::planted::Bug;

use crate::world::{Told, run};

#[test]
fn whatever_happens_to_a_farms_books_they_come_to_agree_and_no_entry_is_lost() {
    let planted = std::env::var("SPARELOOP_SIMULATION_PLANTED").ok().map(|name| runs::named(&name));
    if let Some(seed) = runs::number("SPARELOOP_SIMULATION_SEED") {
        let outcome = run(seed, planted, Told::Aloud);
        println!("seed {seed} trace {} reached {}", outcome.trace, outcome.reached);
        match outcome.violation {
            Some(violation) => panic!("{violation}"),
            None => return,
        }
    }
    if let Some(bug) = planted {
        assert!(
            runs::look_for(bug).as_named(),
            "{bug:?} must be shown by {:?}",
            bugs::shown_by(bug)
        );
        return;
    }
    let sum = runs::sound_seeds();
    let caught = runs::planted_bugs();
    let named = caught.iter().filter(|one| one.as_named()).count();
    println!(
        "seeds {} violations {} planted {named}/{} entries {} rounds {} reached {}",
        sum.seeds,
        sum.violations.len(),
        Bug::ALL.len(),
        sum.entries,
        sum.rounds,
        sum.reached
    );
    if let Some((seed, violation)) = sum.violations.first() {
        panic!("{violation}\nsee it again: {}", runs::again(*seed, None));
    }
    for one in &caught {
        let seen = one.at.as_ref().map(|(seed, violation)| format!("seed {seed}: {violation}"));
        assert!(
            one.as_named(),
            "{:?} must be shown by {:?}; {seen:?}",
            one.bug,
            bugs::shown_by(one.bug)
        );
    }
    // A handful of seeds needn't reach everything.
    if sum.seeds >= 100 {
        assert_eq!(sum.reached.never(), Vec::<&str>::new(), "faults that no seed reached");
    }
}
