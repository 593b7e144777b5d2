//! Shown by history, not by hope: what sixteen callers lived at an offer, while the server was
//! killed, its database struck and stalled, and acts were sent again, could have happened one after
//! another; and nothing was promised twice, lost or done twice.
//!
//! `search` and `offer` share no code with the server, and are held against labelled histories
//! first. `SPARELOOP_HISTORY_SECONDS=600` goes on for so long on each database.
#![allow(unreachable_pub, clippy::unwrap_used, clippy::expect_used)]

mod labelled;
mod load;
mod mishaps;
mod offer;
mod record;
mod search;

use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use spareloop_tests::database::{Cluster, Kind};
use spareloop_tests::network::Network;

use load::{Callers, Heard, Seen};
use mishaps::Mishaps;
use offer::{Act, Answer};
use record::History;
use search::{End, Verdict, search};

/// Offers of a round: enough that each is called often, few enough that callers meet.
const OFFERS: u32 = 6;
const UNITS: u32 = 30;
/// A round's length, so that its histories can be decided.
const ROUND: Duration = Duration::from_secs(9);
/// Rounds after which everybody signs in again: access is for a quarter of an hour.
const SIGN_IN_EVERY: u64 = 20;
/// Steps until a search gives up.
const PATIENCE: usize = 3_000_000;

/// What many rounds came to.
#[derive(Debug, Default)]
struct Totals {
    ops: usize,
    unknown: usize,
    histories: usize,
    linearizable: usize,
    no_verdict: usize,
    oversold: u32,
    lost_holds: usize,
    double_effects: usize,
    deciding: Duration,
}

impl Totals {
    fn add(&mut self, histories: &[History], seen: &[Seen], heard: &Heard) {
        for (history, seen) in histories.iter().zip(seen) {
            let calls = history.calls();
            self.ops += calls.len();
            self.unknown += calls.iter().filter(|call| call.end == End::Unknown).count();
            self.histories += 1;
            let begun = Instant::now();
            let verdict = search(&history.model(), &calls, PATIENCE);
            self.deciding += begun.elapsed();
            match verdict {
                Verdict::Linearizable => self.linearizable += 1,
                Verdict::NotLinearizable => {}
                Verdict::Undecided => self.no_verdict += 1,
            }
            let asked = history.asked();
            let bound = asked.iter().zip(&seen.holds);
            let bound: u32 =
                bound.filter(|(_, hold)| hold.0.binds()).map(|(asked, _)| asked.count).sum();
            self.oversold += bound.saturating_sub(history.units);
            self.double_effects += usize::from(seen.free + bound != history.units);
            self.double_effects += seen.holds.iter().filter(|hold| twice(&hold.1)).count();
            let promised = |number: usize| {
                calls.iter().any(|call| {
                    call.act == Act::Ask(number)
                        && matches!(call.end, End::Answered { answer: Answer::Done, .. })
                })
            };
            let let_go = |number: usize| calls.iter().any(|call| call.act == Act::Release(number));
            self.lost_holds += (0..asked.len())
                .filter(|number| promised(*number) && !let_go(*number))
                .filter(|number| !seen.holds[*number].0.binds())
                .count();
        }
        self.double_effects += heard.two_answers.load(Ordering::Relaxed);
    }
}

/// Whether a hold came to a state more than once.
fn twice(states: &[String]) -> bool {
    (1..states.len()).any(|place| states[..place].contains(&states[place]))
}

/// Rounds of calls, with what befalls the server meanwhile.
fn rounds(kind: Kind, rounds: u64, totals: &mut Totals, mishaps: &mut Mishaps) {
    let cluster = (kind == Kind::Postgresql).then(Cluster::start);
    let mut network = match &cluster {
        Some(cluster) => Network::on_cluster(cluster),
        None => Network::on(kind),
    };
    let mut callers = Callers::new(&network);
    for round in 0..rounds {
        if round > 0 && round % SIGN_IN_EVERY == 0 {
            callers.sign_in_again(&network);
        }
        let (stop, heard) = (AtomicBool::new(false), Heard::default());
        let histories = callers.offer(OFFERS, UNITS);
        thread::scope(|scope| {
            scope.spawn(|| callers.call(&histories, &stop, round, &heard));
            mishaps.happen(&mut network, cluster.as_ref(), round, ROUND);
            stop.store(true, Ordering::Relaxed);
        });
        let seen = callers.look_at_all(&histories);
        totals.add(&histories, &seen, &heard);
    }
}

/// The same calls at the server that reads and then writes, without any mishap.
fn control() -> Totals {
    // On PostgreSQL: on SQLite an act has the whole book to itself, and even this mistake is none.
    let network = Network::served_by("examples/read_then_write", Kind::Postgresql);
    let callers = Callers::new(&network);
    let (stop, heard) = (AtomicBool::new(false), Heard::default());
    let histories = callers.offer(2, UNITS);
    thread::scope(|scope| {
        scope.spawn(|| callers.call(&histories, &stop, 0, &heard));
        thread::sleep(Duration::from_secs(3));
        stop.store(true, Ordering::Relaxed);
    });
    let mut totals = Totals::default();
    totals.add(&histories, &callers.look_at_all(&histories), &heard);
    totals
}

#[test]
fn what_everybody_lived_at_an_offer_could_have_happened_one_after_another() {
    let seconds = std::env::var("SPARELOOP_HISTORY_SECONDS").ok();
    let seconds: u64 = seconds.map_or(0, |text| text.parse().expect("a number of seconds"));
    let many = (seconds / ROUND.as_secs()).max(1);
    let (mut totals, mut mishaps) = (Totals::default(), Mishaps::default());
    for kind in [Kind::Sqlite, Kind::Postgresql] {
        rounds(kind, many, &mut totals, &mut mishaps);
    }
    let control = control();
    let rejected = control.linearizable + control.no_verdict < control.histories;
    let Mishaps { kills, restarts, stalls } = mishaps;
    println!(
        "ops {} kills {kills} histories {} linearizable {}/{} no_verdict {} oversold {} \
         lost_holds {} double_effects {} control {}",
        totals.ops,
        totals.histories,
        totals.linearizable,
        totals.histories,
        totals.no_verdict,
        totals.oversold,
        totals.lost_holds,
        totals.double_effects,
        if rejected { "rejected" } else { "ACCEPTED" },
    );
    println!(
        "unknown {} database_restarts {restarts} stalls {stalls} decided in {:.1} s; of the control: \
         oversold {} linearizable {}/{}",
        totals.unknown,
        totals.deciding.as_secs_f64(),
        control.oversold,
        control.linearizable,
        control.histories,
    );
    assert_eq!(totals.linearizable, totals.histories, "{totals:?}");
    assert_eq!((totals.oversold, totals.lost_holds, totals.double_effects), (0, 0, 0));
    // A load that hurt nobody shows nothing.
    assert!(kills > 0 && restarts > 0 && stalls > 0 && totals.unknown > 0);
    assert!(rejected, "a server that reads and then writes has to be rejected: {control:?}");
}
