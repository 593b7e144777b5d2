//! `farm tell`: by which channels the farm is told things beside its pages and `messages`.

use clap::{Args, Subcommand};
use serde_json::json;
use spareloop_api::channels::{
    AddChannel, ChangeChannel, ChannelMade, ChannelView, Channels, MailService,
};
use spareloop_api::client::Client;
use spareloop_domain::telling::{ChannelKind, Takes};
use spareloop_domain::words::ChannelId;

use crate::book::Keep;
use crate::desk::Desk;
use crate::fault::Fault;
use crate::printer::{Answer, table};
use crate::remote::{Session, call_fault, new_key};

/// What can be done about channels.
#[derive(Debug, Subcommand)]
pub enum Tell {
    /// The farm's channels, and how what goes over them stands.
    #[command(after_help = "Example: spareloop farm tell list")]
    List,
    /// Send letters to an address, once its owner has followed the link in the first one.
    #[command(after_help = "\
Examples:
  spareloop farm tell mail ada@farm.example
  spareloop farm tell mail ada@farm.example --takes digest
messages: every message as it comes; digest: one letter a week on what is open, held and ending;
both. Given again for an address that is there, it changes what is sent.")]
    Mail(Mail),
    /// Post every message, signed, to a program of yours.
    #[command(after_help = "\
Example: spareloop farm tell webhook https://farm.example/spareloop
The secret that calls are signed with is shown once. Spareloop-Signature is `v1=` and, in
hexadecimal, HMAC-SHA-256 under that secret over Spareloop-Timestamp, a full stop and the body;
refuse what doesn't match and what is older than five minutes. A call may come twice: go by
Spareloop-Delivery. Answer 2xx at once and work afterwards.")]
    Webhook(Webhook),
    /// Make an Atom feed of what the farm is told; its address is shown once.
    #[command(after_help = "Example: spareloop farm tell feed")]
    Feed,
    /// Make a calendar of lots due for a look, holds that lapse and wants that are needed; its
    /// address is shown once.
    #[command(after_help = "\
Example: spareloop farm tell calendar
Calendar programs ask every few hours: what is urgent may come late there.")]
    Calendar,
    /// Give a feed, calendar or webhook a new secret; the old one stops working at once.
    #[command(after_help = "Example: spareloop farm tell remake CHANNEL")]
    Remake(Which),
    /// End a channel; what still waited for it is dropped.
    #[command(after_help = "Example: spareloop farm tell end CHANNEL")]
    End(Which),
}

/// Letters.
#[derive(Debug, Args)]
pub struct Mail {
    /// The address.
    address: String,
    /// messages, digest or both [default: messages]
    #[arg(long)]
    takes: Option<Takes>,
}

/// Signed calls.
#[derive(Debug, Args)]
pub struct Webhook {
    /// What is called; it begins with https://
    url: String,
}

/// One channel.
#[derive(Debug, Args)]
pub struct Which {
    /// The channel's id.
    channel: ChannelId,
}

/// Runs it.
pub fn run(command: Tell, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Tell::List => list(desk),
        Tell::Mail(it) => mail(it, desk),
        Tell::Webhook(it) => add(desk, AddChannel::Webhook { url: it.url }),
        Tell::Feed => add(desk, AddChannel::Feed {}),
        Tell::Calendar => add(desk, AddChannel::Calendar {}),
        Tell::Remake(it) => remake(&it, desk),
        Tell::End(it) => end(&it, desk),
    }
}

fn rehearsed(what: &str) -> Answer {
    Answer::new("channel", format!("Would {what} (--dry-run)."), json!({ "kept": false }))
}

fn mail(it: Mail, desk: &Desk) -> Result<Answer, Fault> {
    if desk.keep == Keep::Rehearsed {
        return Ok(rehearsed(&format!("ask {} whether letters are wanted there", it.address)));
    }
    let mut session = Session::open(desk)?;
    let known = session.call(Client::channels).map_err(call_fault)?.channels.into_iter();
    let known = known.filter(|channel| channel.ended_at.is_none()).find(|channel| {
        channel.target.as_deref().is_some_and(|target| target.eq_ignore_ascii_case(&it.address))
    });
    let Some(known) = known else {
        let takes = it.takes.unwrap_or(Takes::Messages);
        return add_by(&mut session, AddChannel::Mail { address: it.address, takes });
    };
    let (key, takes) = (new_key()?, it.takes.or(known.takes).unwrap_or(Takes::Messages));
    let changed = session
        .call(|client| client.change_channel(&key, known.channel, &ChangeChannel { takes }))
        .map_err(call_fault)?;
    let text = format!("{}: {takes} from now on.", name(&changed));
    Ok(Answer::new("channel", text, json!({ "channel": changed })))
}

fn add(desk: &Desk, request: AddChannel) -> Result<Answer, Fault> {
    if desk.keep == Keep::Rehearsed {
        return Ok(rehearsed("make a channel"));
    }
    add_by(&mut Session::open(desk)?, request)
}

fn add_by(session: &mut Session, request: AddChannel) -> Result<Answer, Fault> {
    // Not kept to be sent later, as acts are: the answer holds a secret that the book must not.
    let key = new_key()?;
    let made = session.call(|client| client.add_channel(&key, &request)).map_err(call_fault)?;
    Ok(shown(&made))
}

fn remake(it: &Which, desk: &Desk) -> Result<Answer, Fault> {
    desk.ask.consent("Make a new secret? The old one stops working at once.")?;
    if desk.keep == Keep::Rehearsed {
        return Ok(rehearsed("make a new secret"));
    }
    let key = new_key()?;
    let made = Session::open(desk)?
        .call(|client| client.remake_channel(&key, it.channel))
        .map_err(call_fault)?;
    Ok(shown(&made))
}

fn end(it: &Which, desk: &Desk) -> Result<Answer, Fault> {
    desk.ask.consent("End this channel? What still waits for it is dropped.")?;
    if desk.keep == Keep::Rehearsed {
        return Ok(rehearsed("end the channel"));
    }
    let key = new_key()?;
    let ended = Session::open(desk)?
        .call(|client| client.end_channel(&key, it.channel))
        .map_err(call_fault)?;
    let text = format!("{} is ended.", name(&ended));
    Ok(Answer::new("channel", text, json!({ "channel": ended })))
}

fn name(channel: &ChannelView) -> String {
    let target = channel.target.as_ref().map(|target| format!(" {target}")).unwrap_or_default();
    format!("{}{target}", channel.kind)
}

/// What was made, with the secret that is shown this once.
fn shown(made: &ChannelMade) -> Answer {
    let channel = &made.channel;
    let text = match (channel.kind, &made.address, &made.secret) {
        (ChannelKind::Mail, ..) => format!(
            "A letter asks at {} whether it is wanted there; nothing else is sent before the link in it \
             is followed.",
            channel.target.as_deref().unwrap_or_default()
        ),
        (_, Some(address), _) => format!(
            "{}\nShown this once. Whoever has it can read the {}: keep it to yourselves, or \
             spareloop farm tell remake {}",
            address.0, channel.kind, channel.channel
        ),
        (_, None, Some(secret)) => format!(
            "{}\nThe secret of {}, shown this once. How calls are signed: spareloop farm tell webhook --help",
            secret.0,
            name(channel)
        ),
        (_, None, None) => format!("{} is made.", name(channel)),
    };
    Answer::new(
        "channel",
        text,
        json!({ "channel": channel, "address": made.address, "secret": made.secret }),
    )
}

fn list(desk: &Desk) -> Result<Answer, Fault> {
    let listed = Session::open(desk)?.call(Client::channels).map_err(call_fault)?;
    Ok(Answer::new("channels", text(&listed), json!(listed)))
}

fn text(listed: &Channels) -> String {
    let mail = match listed.mail {
        MailService::SetUp => "",
        MailService::NotSetUp => "\nE-mail is not set up on this server; all else works without.",
    };
    if listed.channels.is_empty() {
        return format!(
            "No channels: what the farm is told is under spareloop messages.{mail}\nNext: spareloop \
             farm tell calendar"
        );
    }
    let rows: Vec<Vec<String>> = listed.channels.iter().map(row).collect();
    let trouble = listed.channels.iter().filter_map(|channel| {
        let said = channel.trouble.as_ref()?;
        Some(format!("\n{}: last trouble: {said}.", name(channel)))
    });
    format!(
        "{}{}{mail}",
        table(&["channel", "stands", "waiting", "given up", "id"], &rows),
        trouble.collect::<String>()
    )
}

fn row(channel: &ChannelView) -> Vec<String> {
    let stands = match (&channel.ended_why, channel.takes) {
        (Some(why), _) => format!("ended: {why}"),
        (None, Some(takes)) if channel.state == spareloop_domain::telling::ChannelState::Open => {
            takes.to_string()
        }
        (None, _) => channel.state.to_string(),
    };
    vec![
        name(channel),
        stands,
        channel.waiting.to_string(),
        channel.given_up.to_string(),
        channel.channel.to_string(),
    ]
}
