//! Channels by which a farm is told things, and what is fetched over them.

use serde::{Deserialize, Serialize};
use spareloop_api::channels::{
    AddChannel, ChangeChannel, ChannelMade, ChannelView, Channels, MailService,
};
use spareloop_api::people::Secret;
use spareloop_api::problem::ProblemCode;
use spareloop_domain::telling::{ChannelKind, MailAddress, Takes};
use spareloop_domain::words::{ChannelId, FarmId};
use spareloop_store::channels::{self, Addition, Target};
use spareloop_store::{SecretHash, StoreError, Tx, fresh, messages};
use uuid::Uuid;

use super::{field, refused};
use crate::auth::caller::Grower;
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::Key;
use crate::telling::links::{LetterLink, fetch_address, fetch_token, webhook_secret};
use crate::telling::{agenda, calendar, feed, reach};
use crate::views::channels as views;

/// What is kept of a channel just made: enough to show the same secret again, and no secret.
#[derive(Serialize, Deserialize)]
struct MadeKept {
    channel: ChannelView,
    number: Uuid,
}

/// What was asked for, read and checked.
enum Wanted {
    Mail(MailAddress, Takes),
    Webhook(String),
    Feed,
    Calendar,
}

impl Wanted {
    fn addition(&self, house_keys: &crate::keys::Keys, number: Uuid) -> Addition {
        let token = || SecretHash::of(&fetch_token(house_keys, number));
        match self {
            Self::Mail(address, takes) => Addition::Mail(address.clone(), *takes),
            Self::Webhook(url) => Addition::Webhook(url.clone(), number),
            Self::Feed => Addition::Feed(token()),
            Self::Calendar => Addition::Calendar(token()),
        }
    }
}

/// Adds a channel.
pub async fn add(
    house: &House,
    grower: Grower,
    key: &Key,
    request: AddChannel,
) -> Result<ChannelMade, ServerError> {
    let act = key.act(&house.keys, grower.person, "add channel", &request)?;
    let wanted = read(house, request).await?;
    let (now, keys) = (house.now(), house.keys.clone());
    let kept = house
        .once(act, move |tx| {
            let (id, number) = (ChannelId::new(fresh::uuid(now)?), fresh::uuid(now)?);
            channels::make(tx, grower.farm, id, &wanted.addition(&keys, number), now)?;
            Ok(MadeKept { channel: view(tx, grower.farm, id)?, number })
        })
        .await?;
    Ok(made(house, kept))
}

async fn read(house: &House, request: AddChannel) -> Result<Wanted, ServerError> {
    match request {
        AddChannel::Mail { address, takes } => {
            let address: MailAddress = field("address", &address)?;
            refuse_without_post(house)?;
            Ok(Wanted::Mail(address, takes))
        }
        AddChannel::Webhook { url } => {
            let telling = &house.telling;
            let reached = reach::read(&url, telling.targets).map_err(|why| refused("url", why))?;
            reach::addresses(&reached, telling.targets, &telling.lookup)
                .await
                .map_err(|why| refused("url", why))?;
            Ok(Wanted::Webhook(reached.into()))
        }
        AddChannel::Feed {} => Ok(Wanted::Feed),
        AddChannel::Calendar {} => Ok(Wanted::Calendar),
    }
}

fn refuse_without_post(house: &House) -> Result<(), ServerError> {
    match mail_service(house) {
        MailService::SetUp => Ok(()),
        MailService::NotSetUp => Err(ServerError::refused(
            ProblemCode::NotInThatState,
            "E-mail is not set up on this server: ask the one who runs it. A feed, a calendar and a \
             webhook work without.",
        )),
    }
}

/// Whether this server sends letters.
pub const fn mail_service(house: &House) -> MailService {
    if house.telling.post.is_some() { MailService::SetUp } else { MailService::NotSetUp }
}

fn made(house: &House, kept: MadeKept) -> ChannelMade {
    let token = fetch_token(&house.keys, kept.number);
    let kind = kept.channel.kind;
    ChannelMade {
        address: fetch_address(house, kind, &token).map(Secret),
        secret: (kind == ChannelKind::Webhook)
            .then(|| Secret(webhook_secret(&house.keys, kept.number))),
        channel: kept.channel,
    }
}

fn view(tx: &mut Tx<'_>, farm: FarmId, id: ChannelId) -> Result<ChannelView, StoreError> {
    let found = channels::one(tx, farm, id)?;
    Ok(views::channel(found, channels::standing(tx, id)?))
}

/// The farm's channels.
pub async fn list(house: &House, grower: Grower) -> Result<Channels, ServerError> {
    let channels = house
        .read(move |tx| {
            channels::list(tx, grower.farm)?
                .into_iter()
                .map(|channel| {
                    let standing = channels::standing(tx, channel.id)?;
                    Ok(views::channel(channel, standing))
                })
                .collect::<Result<Vec<_>, StoreError>>()
        })
        .await?;
    Ok(Channels { mail: mail_service(house), channels })
}

/// Changes what a channel of e-mail brings.
pub async fn change(
    house: &House,
    grower: Grower,
    key: &Key,
    id: ChannelId,
    request: ChangeChannel,
) -> Result<ChannelView, ServerError> {
    let act = key.act(&house.keys, grower.person, "change channel", &(id, &request))?;
    let now = house.now();
    house
        .once(act, move |tx| {
            channels::change(tx, grower.farm, id, request.takes, now)?;
            view(tx, grower.farm, id)
        })
        .await
}

/// Gives a channel a new secret.
pub async fn remake(
    house: &House,
    grower: Grower,
    key: &Key,
    id: ChannelId,
) -> Result<ChannelMade, ServerError> {
    let act = key.act(&house.keys, grower.person, "remake channel", &id)?;
    let (now, keys) = (house.now(), house.keys.clone());
    let kept = house
        .once(act, move |tx| {
            let number = fresh::uuid(now)?;
            let token = SecretHash::of(&fetch_token(&keys, number));
            channels::remake(tx, grower.farm, id, token, number)?;
            Ok(MadeKept { channel: view(tx, grower.farm, id)?, number })
        })
        .await?;
    Ok(made(house, kept))
}

/// Ends a channel.
pub async fn end(
    house: &House,
    grower: Grower,
    key: &Key,
    id: ChannelId,
) -> Result<ChannelView, ServerError> {
    let act = key.act(&house.keys, grower.person, "end channel", &id)?;
    let now = house.now();
    house
        .once(act, move |tx| {
            channels::end_by_farm(tx, grower.farm, id, now)?;
            view(tx, grower.farm, id)
        })
        .await
}

/// The link of a letter: to which channel it belongs, and its secret.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Link {
    /// The channel.
    pub channel: ChannelId,
    /// The secret.
    pub token: Secret,
}

fn no_such_link() -> ServerError {
    ServerError::refused(ProblemCode::CodeUsedUp, "That link no longer works.")
}

/// Refuses a link that is of no letter of ours.
pub fn check_link(house: &House, what: LetterLink, link: &Link) -> Result<(), ServerError> {
    if what.opens(&house.keys, link.channel, &link.token.0) { Ok(()) } else { Err(no_such_link()) }
}

/// The owner of an address confirms it; answers the address.
pub async fn confirm(house: &House, link: &Link) -> Result<String, ServerError> {
    check_link(house, LetterLink::Confirm, link)?;
    let (id, now) = (link.channel, house.now());
    let confirmed = house.write(move |tx| channels::confirm(tx, id, now)).await?;
    match confirmed.target {
        Target::Mail { address, .. } => Ok(address.to_string()),
        Target::Webhook { .. } | Target::Feed | Target::Calendar => Err(no_such_link()),
    }
}

/// Whoever reads the letters wants no more of them.
pub async fn end_letters(house: &House, link: &Link) -> Result<(), ServerError> {
    check_link(house, LetterLink::End, link)?;
    let (id, now) = (link.channel, house.now());
    house.write(move |tx| channels::end_by_reader(tx, id, now)).await
}

/// The feed that a secret address opens.
pub async fn feed(house: &House, token: &str) -> Result<String, ServerError> {
    let hash = SecretHash::of(token);
    let found = house
        .read(move |tx| {
            let Some(fetched) = channels::fetched(tx, ChannelKind::Feed, hash)? else {
                return Ok(None);
            };
            let told = messages::list(tx, fetched.farm.id, None, feed::NEWEST)?;
            Ok(Some((fetched, told)))
        })
        .await?;
    let (fetched, told) = found.ok_or_else(ServerError::not_found)?;
    feed::write(&fetched, &told, &house.reached.url)
}

/// The calendar that a secret address opens.
pub async fn calendar(house: &House, token: &str) -> Result<String, ServerError> {
    let (hash, now, today) = (SecretHash::of(token), house.now(), house.today()?);
    let found = house
        .read(move |tx| {
            let Some(fetched) = channels::fetched(tx, ChannelKind::Calendar, hash)? else {
                return Ok(None);
            };
            let kept = agenda::read(tx, fetched.farm.id, now, today)?;
            Ok(Some((fetched, kept)))
        })
        .await?;
    let (fetched, kept) = found.ok_or_else(ServerError::not_found)?;
    Ok(calendar::write(&fetched, &kept.days, &house.reached.url, today))
}
