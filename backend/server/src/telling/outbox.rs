//! The job that brings things: takes deliveries on, brings them at the same time, notes how it went.
//!
//! Every replica may run it; the store sees to it that one of them takes a delivery. A slow or dead
//! target takes one place of many, for as long as a try may last, and holds nobody else up. A server
//! that goes down leaves what it had taken on to be taken again.

use std::time::Duration;

use actix_web::rt::task::JoinHandle;
use actix_web::web::Data;
use spareloop_domain::telling::{Chance, ChannelKind};
use spareloop_store::channels::{self, Bringing, Dealt, Taken, Target};
use spareloop_store::fresh;
use tokio::task::JoinSet;

use super::agenda;
use super::letter::{self, Envelope};
use super::links::webhook_secret;
use super::webhook::{self, Failed};
use crate::error::ServerError;
use crate::house::House;

/// How often it is looked whether anything is due.
const EVERY: Duration = Duration::from_secs(2);
/// Most that is brought at the same time.
const AT_ONCE: usize = 32;
/// How long one try may last, whatever it waits for. A tenth of the store's lease.
const LONGEST_TRY: Duration = Duration::from_secs(30);

/// Starts the job; it ends when the handle is aborted, and what is under way with it.
pub fn start(house: Data<House>) -> JoinHandle<()> {
    actix_web::rt::spawn(async move {
        let mut under_way = JoinSet::new();
        loop {
            while under_way.try_join_next().is_some() {}
            let taken = take(&house, AT_ONCE - under_way.len()).await.unwrap_or_else(|error| {
                // Tried again at the next turn; nothing waits for it.
                error.log();
                Vec::new()
            });
            let idle = taken.is_empty();
            for one in taken {
                let house = house.clone();
                under_way.spawn(async move { bring(&house, one).await });
            }
            if idle {
                tokio::select! {
                    () = tokio::time::sleep(EVERY) => {}
                    Some(_) = under_way.join_next() => {}
                }
            }
        }
    })
}

/// Brings what is due now, one after the other, for those who have no job running; answers how much.
pub async fn bring_all(house: &House) -> Result<usize, ServerError> {
    let mut brought = 0;
    loop {
        let taken = take(house, AT_ONCE).await?;
        if taken.is_empty() {
            return Ok(brought);
        }
        for one in taken {
            bring(house, one).await;
            brought += 1;
        }
    }
}

/// The kinds that this server can bring. Letters wait while nobody has set them up.
fn kinds(house: &House) -> [ChannelKind; 2] {
    let letters = house.telling.post.as_ref().map(|_| ChannelKind::Mail);
    [letters.unwrap_or(ChannelKind::Webhook), ChannelKind::Webhook]
}

async fn take(house: &House, most: usize) -> Result<Vec<Taken>, ServerError> {
    let (now, kinds) = (house.now(), kinds(house));
    let most = u32::try_from(most).unwrap_or(u32::MAX);
    // A look first, so that a server with nothing to bring writes nothing and locks nobody out.
    if most == 0 || !house.read(move |tx| channels::is_due(tx, kinds, now)).await? {
        return Ok(Vec::new());
    }
    house.write(move |tx| channels::take(tx, kinds, most, now)).await
}

/// Brings one delivery and notes how it went.
async fn bring(house: &House, taken: Taken) {
    let tried = tokio::time::timeout(LONGEST_TRY, attempt(house, &taken)).await;
    let outcome = tried.unwrap_or_else(|_| Err(Failed::for_now("it took too long")));
    let (delivery, number) = (taken.id, taken.number);
    match &outcome {
        Ok(()) => tracing::debug!(%delivery, number, "brought"),
        Err(failed) => tracing::info!(%delivery, number, said = failed.said, "not brought"),
    }
    match note(house, taken, outcome).await {
        Ok(Dealt::Noted) => {}
        Ok(Dealt::NotOurs) => tracing::info!(%delivery, number, "another took it meanwhile"),
        // Its lease ends, and it is brought again.
        Err(error) => error.log(),
    }
}

async fn note(
    house: &House,
    taken: Taken,
    outcome: Result<(), Failed>,
) -> Result<Dealt, ServerError> {
    let now = house.now();
    house
        .write(move |tx| match &outcome {
            Ok(()) => channels::delivered(tx, &taken, now),
            Err(Failed { failure, said }) => {
                let chance = Chance(u16::from_be_bytes(fresh::bytes()?));
                channels::failed(tx, &taken, *failure, said, chance, now)
            }
        })
        .await
}

async fn attempt(house: &House, taken: &Taken) -> Result<(), Failed> {
    match (&taken.channel.target, &taken.bringing) {
        (Target::Mail { address, .. }, bringing) => {
            let post = house
                .telling
                .post
                .as_ref()
                .ok_or_else(|| Failed::for_now("e-mail is not set up on this server"))?;
            let envelope = Envelope { from: post.from(), to: address };
            let letter = written(house, envelope, taken, bringing).await.map_err(|error| {
                error.log();
                Failed::for_now("the letter could not be written")
            })?;
            post.send(letter).await
        }
        (Target::Webhook { url, secret_number }, Bringing::Message(message)) => {
            let secret = webhook_secret(&house.keys, *secret_number);
            webhook::call(&house.telling, url, &secret, taken, message, house.now()).await
        }
        // Nothing else is ever asked for.
        (Target::Webhook { .. } | Target::Feed | Target::Calendar, _) => {
            Err(Failed::for_now("this can't be brought over such a channel"))
        }
    }
}

async fn written(
    house: &House,
    envelope: Envelope<'_>,
    taken: &Taken,
    bringing: &Bringing,
) -> Result<lettre::Message, ServerError> {
    match bringing {
        Bringing::Message(message) => letter::of_message(house, envelope, taken, message),
        Bringing::Confirmation => letter::of_confirmation(house, envelope, taken),
        Bringing::Digest => {
            let (farm, now, today) = (taken.farm.id, house.now(), house.today()?);
            let kept = house.read(move |tx| agenda::read(tx, farm, now, today)).await?;
            letter::of_week(house, envelope, taken, &kept.week(farm, now, today))
        }
    }
}
