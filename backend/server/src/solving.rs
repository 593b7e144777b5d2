//! Rounds that solve themselves: what was asked for or is due by the timetable is taken up, solved off
//! the request path and proposed; proposals whose time has come end, swap days are settled.
//!
//! Any replica may run it and none does anything twice: each step writes a guarded row first. What may
//! not enter: how a round is solved.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use actix_web::rt::task::JoinHandle;
use actix_web::web::Data;
use spareloop_domain::compute::fields::{Fields, parse};
use spareloop_domain::words::RoundId;
use spareloop_rounds::answer::from_thousandths;
use spareloop_rounds::compute;
use spareloop_rounds::error::RoundError;
use spareloop_rounds::freeze::{Proposed, comes_to, proposed};
use spareloop_rounds::solve::{Outside, solve};
use spareloop_rounds::watch::Clock;
use spareloop_store::fresh;
use spareloop_store::proposals::{self, NewLine, NewProposal};
use spareloop_store::rounds::{self, Came, Moved, NewRound, Taken, Written};

use crate::acts::rounds::{freeze, keep_to_limits};
use crate::error::ServerError;
use crate::house::House;

/// How often it is looked whether there is something to do.
const EVERY: Duration = Duration::from_secs(2);

/// Seconds since a moment.
pub(crate) struct Since(Instant);

impl Since {
    pub(crate) fn now() -> Self {
        Self(Instant::now())
    }
}

impl Clock for Since {
    fn seconds(&self) -> f64 {
        self.0.elapsed().as_secs_f64()
    }
}

/// Tells a solver to stop with the best so far once nobody waits for it any more.
struct StopsWhenDropped(Arc<AtomicBool>);

impl Drop for StopsWhenDropped {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

/// Starts it; it ends when the handle is aborted.
pub fn start(house: Data<House>) -> JoinHandle<()> {
    actix_web::rt::spawn(async move {
        loop {
            tokio::time::sleep(EVERY).await;
            if let Err(error) = turn(&house).await {
                // Tried again in a moment; what was half done was not written.
                error.log();
            }
        }
    })
}

/// One turn of all of it.
pub async fn turn(house: &House) -> Result<(), ServerError> {
    begin_due(house).await?;
    while solve_one(house).await? == Found::One {}
    end_due(house).await
}

/// Whether there was something to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Found {
    One,
    None,
}

/// Begins the rounds that the timetables ask for.
async fn begin_due(house: &House) -> Result<(), ServerError> {
    let now = house.now();
    for network in house.read(move |tx| rounds::due(tx, now)).await? {
        let found = house.read(move |tx| rounds::timetable(tx, network)).await?;
        let Some(rules) = found.map(|timetable| timetable.rules) else { continue };
        let frozen = freeze(house, network, &rules).await?;
        let new = NewRound { id: RoundId::new(fresh::uuid(now)?), by: None, rules, frozen };
        // Moved on in the same transaction, so that of several replicas one begins the round.
        let begun = house.write(move |tx| {
            if rounds::move_on(tx, network, now)? == Moved::On {
                rounds::begin(tx, network, &new, now)?;
            }
            Ok(())
        });
        if let Err(error) = begun.await {
            tracing::info!(%network, %error, "the timetable's round was not begun this time");
        }
    }
    Ok(())
}

async fn solve_one(house: &House) -> Result<Found, ServerError> {
    let now = house.now();
    let Some(taken) = house.write(move |tx| rounds::take(tx, now)).await? else {
        return Ok(Found::None);
    };
    let stop = Arc::new(AtomicBool::new(false));
    let guard = StopsWhenDropped(Arc::clone(&stop));
    let (frozen, begun) = (taken.frozen.clone(), Instant::now());
    let came = house.off_thread(move |_| Ok(solved(&frozen, &stop))).await?;
    drop(guard);
    let came = came.unwrap_or_else(|error| Came::Failure { why: error.to_string() });
    let round = taken.id;
    match put(house, taken, came).await? {
        Written::Here => {
            tracing::info!(%round, seconds = begun.elapsed().as_secs(), "a round was solved");
        }
        Written::Elsewhere => tracing::warn!(%round, "another server was first with a round"),
    }
    Ok(Found::One)
}

async fn put(house: &House, taken: Taken, came: Came) -> Result<Written, ServerError> {
    let now = house.now();
    house.write(move |tx| rounds::put(tx, &taken, &came, now)).await
}

/// Solves a frozen view. The answer was held against every rule before it is proposed.
fn solved(frozen: &str, stop: &AtomicBool) -> Result<Came, RoundError> {
    let document = parse(frozen)?;
    let (round, standing) = compute::read(&Fields::top(&document)?)?;
    let clock = Since::now();
    let outside = Outside { clock: &clock, stop, hears: &|_| {} };
    let standing = standing.as_ref().map(|it| (&it.swaps, &it.prices));
    let found = solve(&round, standing, &outside);
    // The solver answers with nothing at all rather than with what breaks a rule; a document that was
    // changed on its way is told here.
    let checked = spareloop_rounds::check::check(&round, &found.swaps);
    let proposals = match (checked, proposed(&round, &found.swaps)) {
        (Ok(objective), Ok(proposals)) if objective == i128::from(found.objective) => proposals,
        (Err(wrong), _) => return Ok(Came::Failure { why: wrong.to_string() }),
        (_, Err(strange)) => return Ok(Came::Failure { why: strange.to_string() }),
        (Ok(_), Ok(_)) => {
            return Ok(Came::Failure { why: "its worth is not what it says".to_owned() });
        }
    };
    let certified = found.certificate.as_ref().map(|it| from_thousandths(it.1));
    Ok(Came::Answer {
        answer: found.to_json(&round).to_string(),
        said: comes_to(found.objective, certified),
        proposals: proposals.into_iter().map(new_proposal).collect(),
    })
}

fn new_proposal(proposed: Proposed) -> NewProposal {
    let line = |line: spareloop_rounds::freeze::ProposedLine| NewLine {
        offer: line.offer,
        want: line.want,
        giver: line.giver,
        taker: line.taker,
        count: line.count,
        unit_value: line.unit_value,
        worth: line.worth,
    };
    NewProposal {
        kind: proposed.kind,
        farms: proposed.farms,
        lines: proposed.lines.into_iter().map(line).collect(),
    }
}

/// Loops whose date has passed lapse; swap days that are answered, or whose date has passed, get their
/// holds.
async fn end_due(house: &House) -> Result<(), ServerError> {
    let now = house.now();
    while house.write(move |tx| proposals::lapse_due(tx, now)).await? > 0 {}
    while house.write(move |tx| proposals::stop_broken(tx, now)).await? > 0 {}
    let nobody = std::collections::BTreeSet::new();
    for (network, id) in house.read(move |tx| proposals::swap_days_due(tx, now)).await? {
        let absent = nobody.clone();
        let of = house.read(move |tx| proposals::settling(tx, network, id, &absent, now)).await?;
        let reckoned = of.clone();
        let kept = house.off_thread(move |_| Ok(keep_to_limits(&reckoned))).await??;
        let settled = house.write(move |tx| proposals::settle(tx, &of, &kept, now).map(drop)).await;
        if let Err(error) = settled {
            // A farm answered meanwhile, or another server did it: looked at again next turn.
            tracing::info!(proposal = %id, %error, "a swap day was not settled this time");
        }
    }
    Ok(())
}
