//! How the farm is told things beside the pages: letters, webhooks, a feed, a calendar.
//!
//! What opens a channel is shown once: it travels from the POST to the page behind it in a cookie
//! that this page alone is sent, and that is taken away in the same answer.

use actix_web::web::{Path, ServiceConfig};
use actix_web::{HttpRequest, get, post};
use askama::Template;
use spareloop_api::channels::{AddChannel, ChangeChannel, ChannelMade, ChannelView, MailService};
use spareloop_domain::telling::{ChannelKind, ChannelState, Takes};
use spareloop_domain::words::ChannelId;

use super::field::Choice;
use super::form::{Form, Posted};
use super::layout::{Answer, Page, see_other};
use super::once::ShownOnce;
use super::say;
use super::session::{Signed, Visitor};
use crate::acts::channels;
use crate::auth::caller::Grower;
use crate::error::ServerError;
use crate::idempotency::Key;

const SHOWN: ShownOnce = ShownOnce { name: "spareloop-channel", page: "/channels" };

pub(super) fn configure(config: &mut ServiceConfig) {
    config
        .service(open)
        .service(add_mail)
        .service(add_webhook)
        .service(add_feed)
        .service(add_calendar)
        .service(change)
        .service(remake)
        .service(end);
}

#[derive(Template)]
#[template(path = "channels.html")]
struct ChannelsPage<'a> {
    page: Page,
    form: &'a Form,
    mail: MailService,
    takes: &'a [Choice],
    shown: Option<Shown>,
    channels: Vec<ChannelView>,
}

/// What opens a channel that was just made.
enum Shown {
    /// The address of a feed or calendar.
    Address(ChannelKind, String),
    /// The secret that a webhook's calls are signed with.
    Secret(String),
}

#[get("/channels")]
async fn open(signed: Signed<Grower>, request: HttpRequest) -> Answer {
    let form = Form::new(&signed.visitor.house)?;
    let shown = SHOWN.read(&request).and_then(|value| read_shown(&value));
    show(&signed, form, shown).await
}

#[post("/channels/mail")]
async fn add_mail(signed: Signed<Grower>, posted: Posted) -> Answer {
    let mut form = posted.0;
    let takes = form.read::<Takes>("takes");
    let address = form.value("address").to_owned();
    match takes {
        Some(takes) => add(&signed, form, AddChannel::Mail { address, takes }).await,
        None => show(&signed, form, None).await,
    }
}

#[post("/channels/webhook")]
async fn add_webhook(signed: Signed<Grower>, posted: Posted) -> Answer {
    let url = posted.0.value("url").to_owned();
    add(&signed, posted.0, AddChannel::Webhook { url }).await
}

#[post("/channels/feed")]
async fn add_feed(signed: Signed<Grower>, posted: Posted) -> Answer {
    add(&signed, posted.0, AddChannel::Feed {}).await
}

#[post("/channels/calendar")]
async fn add_calendar(signed: Signed<Grower>, posted: Posted) -> Answer {
    add(&signed, posted.0, AddChannel::Calendar {}).await
}

async fn add(signed: &Signed<Grower>, mut form: Form, request: AddChannel) -> Answer {
    let key = form.key()?;
    match channels::add(&signed.visitor.house, signed.caller, &key, request).await {
        Ok(made) => lead_on(&signed.visitor, &made),
        Err(error) => {
            form.take(error)?;
            show(signed, form, None).await
        }
    }
}

#[post("/channels/{channel}/change")]
async fn change(signed: Signed<Grower>, id: Path<String>, posted: Posted) -> Answer {
    let mut form = posted.0;
    let (id, key) = (read_id(&id)?, form.key()?);
    let Some(takes) = form.read::<Takes>("takes") else { return show(&signed, form, None).await };
    let (house, request) = (&signed.visitor.house, ChangeChannel { takes });
    channels::change(house, signed.caller, &key, id, request).await?;
    Ok(see_other("/channels?done=channel-changed"))
}

#[post("/channels/{channel}/remake")]
async fn remake(signed: Signed<Grower>, id: Path<String>, posted: Posted) -> Answer {
    let (id, key) = (read_id(&id)?, posted.0.key()?);
    let made = channels::remake(&signed.visitor.house, signed.caller, &key, id).await?;
    lead_on(&signed.visitor, &made)
}

#[post("/channels/{channel}/end")]
async fn end(signed: Signed<Grower>, id: Path<String>, posted: Posted) -> Answer {
    let (id, key): (ChannelId, Key) = (read_id(&id)?, posted.0.key()?);
    channels::end(&signed.visitor.house, signed.caller, &key, id).await?;
    Ok(see_other("/channels?done=channel-ended"))
}

fn read_id(text: &str) -> Result<ChannelId, ServerError> {
    text.parse().map_err(|_| ServerError::not_found())
}

async fn show(signed: &Signed<Grower>, form: Form, shown: Option<Shown>) -> Answer {
    let visitor = &signed.visitor;
    let form = form.or("takes", Takes::Messages.code());
    let listed = channels::list(&visitor.house, signed.caller).await?;
    let takes: Vec<Choice> =
        Takes::ALL.iter().map(|takes| Choice::new(takes.code(), in_full(*takes))).collect();
    let was_shown = shown.is_some();
    let mut answer = visitor.show_form(
        &form,
        &ChannelsPage {
            page: visitor.form_page("How the farm is told", &form),
            form: &form,
            mail: listed.mail,
            takes: &takes,
            shown,
            channels: listed.channels,
        },
    )?;
    if was_shown {
        SHOWN.forget(&mut answer, visitor)?;
    }
    Ok(answer)
}

const fn in_full(takes: Takes) -> &'static str {
    match takes {
        Takes::Messages => "Every message, as it comes",
        Takes::Digest => "One letter a week: what is open, held and ending",
        Takes::Both => "Both",
    }
}

/// To the list, with what opens the channel that was just made.
fn lead_on(visitor: &Visitor, made: &ChannelMade) -> Answer {
    let kind = made.channel.kind;
    let value = match (&made.address, &made.secret) {
        (Some(address), _) => format!("{}|{}", kind.code(), address.0),
        (None, Some(secret)) => format!("{}|{}", kind.code(), secret.0),
        (None, None) => return Ok(see_other("/channels?done=channel-asked")),
    };
    let mut answer = see_other("/channels?done=channel-made");
    SHOWN.send(&mut answer, visitor, value)?;
    Ok(answer)
}

fn read_shown(value: &str) -> Option<Shown> {
    let (kind, what) = value.split_once('|')?;
    let kind: ChannelKind = kind.parse().ok()?;
    match kind {
        ChannelKind::Feed | ChannelKind::Calendar => Some(Shown::Address(kind, what.to_owned())),
        ChannelKind::Webhook => Some(Shown::Secret(what.to_owned())),
        ChannelKind::Mail => None,
    }
}

impl ChannelsPage<'_> {
    /// What a channel is, with where it leads.
    fn name(channel: &ChannelView) -> String {
        match (channel.kind, &channel.target) {
            (ChannelKind::Mail, Some(address)) => format!("E-mail to {address}"),
            (ChannelKind::Webhook, Some(url)) => format!("Webhook {url}"),
            (ChannelKind::Calendar, _) => "Calendar".to_owned(),
            _ => "Feed".to_owned(),
        }
    }

    /// How a channel stands.
    fn stands(channel: &ChannelView) -> String {
        let mut parts = vec![match (channel.state, channel.ended_at, &channel.ended_why) {
            (ChannelState::Unconfirmed, ..) => {
                "Waits until the link in the letter that was sent there is followed; nothing else is \
                 sent before"
                    .to_owned()
            }
            (ChannelState::Ended, Some(at), Some(why)) => {
                format!("Ended {}: {why}", say::moment(&at))
            }
            _ => channel.takes.map_or_else(|| "In use".to_owned(), |takes| in_full(takes).to_owned()),
        }];
        if channel.waiting > 0 {
            parts.push(format!("{} still to be brought", channel.waiting));
        }
        if channel.given_up > 0 {
            parts.push(format!(
                "{} given up after three days of trying, or for good; the start page has what they said",
                channel.given_up
            ));
        }
        parts.extend(channel.trouble.as_ref().map(|said| format!("last trouble: {said}")));
        parts.extend(
            channel.delivered_at.as_ref().map(|at| format!("last brought {}", say::moment(at))),
        );
        format!("{}.", parts.join(". "))
    }

    fn has_secret(channel: &ChannelView) -> bool {
        channel.state == ChannelState::Open && channel.kind != ChannelKind::Mail
    }

    fn is_live(channel: &ChannelView) -> bool {
        channel.state != ChannelState::Ended
    }

    /// What else a channel of e-mail could bring.
    fn others(channel: &ChannelView) -> Vec<(&'static str, &'static str)> {
        let Some(takes) = channel.takes.filter(|_| Self::is_live(channel)) else {
            return Vec::new();
        };
        Takes::ALL
            .iter()
            .filter(|other| **other != takes)
            .map(|other| {
                let words = match other {
                    Takes::Messages => "Send every message",
                    Takes::Digest => "Send a weekly letter",
                    Takes::Both => "Send both",
                };
                (other.code(), words)
            })
            .collect()
    }
}
