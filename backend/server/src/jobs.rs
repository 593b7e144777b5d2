//! What happens by itself: overdue holds lapse, weekly letters are asked for, what is no longer needed
//! is forgotten. Bringing letters and calls is a job of its own ([`crate::telling::outbox`]).
//!
//! Any replica may run it and none does harm by running it too. What may not enter: when a hold
//! lapses (the store asks `domain`; a lapsed hold is never counted, job or no job).

use std::sync::Arc;
use std::time::Duration;

use actix_web::rt::task::JoinHandle;
use actix_web::web::Data;
use chrono::{DateTime, TimeDelta, Utc};
use spareloop_store::cluster::Presence;
use spareloop_store::network_summaries::Timetable;
use spareloop_store::{Store, channels, holds, photos, prune_acts, sign_ins, web_sessions};

use crate::error::ServerError;
use crate::house::House;
use crate::keep::Keeper;
use crate::keep::nightly::{self, Done, Nightly};
use crate::together::{self, Networks};

/// How often holds are looked at.
const EVERY: Duration = Duration::from_secs(30);
/// How often the whole database is read through: at the start, then every so often.
const CHECK_EVERY: TimeDelta = TimeDelta::days(1);
/// Every how many turns old rows are forgotten.
const PRUNE_EVERY: u32 = 20;

/// What the copies and checks need.
#[derive(Debug)]
pub struct Upkeep {
    /// Where copies are made.
    pub keeper: Keeper,
    /// The store.
    pub store: Store,
    /// The nightly copy, if one is made.
    pub nightly: Option<Nightly>,
    /// That a server runs on a PostgreSQL database.
    pub presence: Option<Presence>,
}

/// Starts the nightly copy and the daily check; they end when the handle is aborted, but for a copy
/// under way, which the program waits for.
pub fn start_upkeep(house: Data<House>, upkeep: Upkeep) -> JoinHandle<()> {
    let upkeep = Arc::new(upkeep);
    actix_web::rt::spawn(async move {
        let mut checked_at = None;
        loop {
            let now = house.now();
            let check = checked_at.is_none_or(|at| now - at >= CHECK_EVERY);
            if check {
                checked_at = Some(now);
            }
            let upkeep = Arc::clone(&upkeep);
            let turn = tokio::task::spawn_blocking(move || keep_up(&upkeep, check, now));
            if let Err(error) = turn.await {
                tracing::error!(%error, "a copy or check ended early");
            }
            tokio::time::sleep(EVERY).await;
        }
    })
}

/// One turn of what is slow: whatever goes wrong is told in the log, loudly.
fn keep_up(upkeep: &Upkeep, check: bool, now: DateTime<Utc>) {
    if let Some(Err(error)) = upkeep.presence.as_ref().map(Presence::renew) {
        tracing::warn!(log = error.log_text(), "{error}");
    }
    if check {
        match upkeep.store.check() {
            Ok(checked) => tracing::info!("the database was read through: {checked}"),
            Err(error) => tracing::error!(
                log = error.log_text(),
                "reading the database through: {error}. If it is damaged, stop the server and put a \
                 copy back: spareloop-server restore FILE"
            ),
        }
    }
    let Some(nightly) = &upkeep.nightly else { return };
    match nightly::turn(&upkeep.keeper, &upkeep.store, nightly, now) {
        Ok(Done::Nothing) => {}
        Ok(Done::Made(path)) => tracing::info!("the nightly copy is in {}", path.display()),
        Ok(Done::Failed(error)) | Err(error) => tracing::error!(
            "THE NIGHTLY COPY FAILED: {error}. {} It is tried again in half an hour.",
            error.hint()
        ),
    }
}

/// Starts taking the farms' records together on its timetable; it ends when the handle is aborted.
pub fn start_together(house: Data<House>, store: Store, timetable: Timetable) -> JoinHandle<()> {
    actix_web::rt::spawn(async move {
        loop {
            let (store, now) = (store.clone(), house.now());
            // Reading and fitting take a while, and hold no transaction between them.
            let turn = move || together::take(&store, Networks::Due(timetable), now);
            match tokio::task::spawn_blocking(turn).await {
                Ok(Ok(0)) => {}
                Ok(Ok(networks)) => {
                    tracing::info!(networks, "the farms' records were taken together");
                }
                Ok(Err(error)) => error.log(),
                Err(error) => tracing::error!(%error, "taking records together ended early"),
            }
            tokio::time::sleep(EVERY).await;
        }
    })
}

/// Starts the jobs; they end when the handle is aborted.
pub fn start(house: Data<House>) -> JoinHandle<()> {
    actix_web::rt::spawn(async move {
        let mut turns = 0_u32;
        loop {
            tokio::time::sleep(EVERY).await;
            turns = turns.wrapping_add(1);
            if let Err(error) = turn(&house, turns).await {
                // Tried again in half a minute; nothing waits for it.
                error.log();
            }
        }
    })
}

async fn turn(house: &House, turns: u32) -> Result<(), ServerError> {
    lapse(house).await?;
    tell(house).await?;
    if turns.is_multiple_of(PRUNE_EVERY) {
        prune(house).await?;
    }
    Ok(())
}

/// Writes down which holds have lapsed.
pub async fn lapse(house: &House) -> Result<(), ServerError> {
    let now = house.now();
    // A run takes a bounded number of offers, so that no transaction lasts long.
    while house.write(move |tx| holds::lapse_overdue(tx, now)).await? > 0 {}
    Ok(())
}

/// Asks for the weekly letters that are due, and gives up what was tried for too long.
pub async fn tell(house: &House) -> Result<(), ServerError> {
    let now = house.now();
    while house.write(move |tx| channels::ask_for_digests(tx, now)).await? > 0 {}
    house.write(move |tx| channels::give_up_overdue(tx, now)).await?;
    Ok(())
}

/// Forgets what is too old to matter.
pub async fn prune(house: &House) -> Result<(), ServerError> {
    let now = house.now();
    house.throttle.forget_old();
    house
        .write(move |tx| {
            prune_acts(tx, now)?;
            sign_ins::prune(tx, now)?;
            web_sessions::prune(tx, now)?;
            channels::prune(tx, now)?;
            photos::prune(tx, now)?;
            Ok(())
        })
        .await
}
