//! What happens by itself: overdue holds lapse, what is no longer needed is forgotten.
//!
//! Any replica may run it and none does harm by running it too. What may not enter: when a hold
//! lapses (the store asks `domain`; a lapsed hold is never counted, job or no job).

use std::time::Duration;

use actix_web::rt::task::JoinHandle;
use actix_web::web::Data;
use spareloop_store::{holds, prune_acts, sign_ins, web_sessions};

use crate::error::ServerError;
use crate::house::House;

/// How often holds are looked at.
const EVERY: Duration = Duration::from_secs(30);
/// Every how many turns old rows are forgotten.
const PRUNE_EVERY: u32 = 20;

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

/// Forgets what is too old to matter.
pub async fn prune(house: &House) -> Result<(), ServerError> {
    let now = house.now();
    house.throttle.forget_old();
    house
        .write(move |tx| {
            prune_acts(tx, now)?;
            sign_ins::prune(tx, now)?;
            web_sessions::prune(tx, now)?;
            Ok(())
        })
        .await
}
