//! What a letter says and what it bears.
//!
//! Letters are plain text. Each bears one-click unsubscribing (RFC 2369, RFC 8058), says that a
//! program wrote it (RFC 3834) and has one Message-ID however often it is tried, so that a mail
//! program shows it once. What may not enter: sending.

use std::time::SystemTime;

use askama::Template;
use chrono::{DateTime, Utc};
use lettre::message::header::{ContentType, HeaderName, HeaderValue};
use lettre::message::{Mailbox, MessageBuilder};
use lettre::{Address, Message as Letter};
use spareloop_domain::telling::MailAddress;
use spareloop_store::channels::Taken;
use spareloop_store::messages::Message;

use super::agenda::Week;
use super::links::LetterLink;
use crate::error::ServerError;
use crate::house::House;

/// Most characters of a subject.
const LONGEST_SUBJECT: usize = 78;

#[derive(Template)]
#[template(path = "letters/message.txt")]
struct MessageText<'a> {
    taken: &'a Taken,
    message: &'a Message,
    link: String,
    end: String,
}

#[derive(Template)]
#[template(path = "letters/confirm.txt")]
struct ConfirmText<'a> {
    taken: &'a Taken,
    confirm: String,
}

#[derive(Template)]
#[template(path = "letters/digest.txt")]
struct DigestText<'a> {
    taken: &'a Taken,
    week: &'a Week,
    link: String,
    end: String,
}

/// To whom and by whom.
#[derive(Debug, Clone, Copy)]
pub struct Envelope<'a> {
    /// Whom it is from.
    pub from: &'a Mailbox,
    /// To whom.
    pub to: &'a MailAddress,
}

/// Something that the farm was told.
pub fn of_message(
    house: &House,
    envelope: Envelope<'_>,
    taken: &Taken,
    message: &Message,
) -> Result<Letter, ServerError> {
    let url = &house.reached.url;
    let link = message.hold.map_or_else(|| format!("{url}/"), |hold| format!("{url}/holds/{hold}"));
    let end = LetterLink::End.address(house, taken.channel.id);
    let text = render(&MessageText { taken, message, link, end: end.clone() })?;
    let letter = begin(envelope, taken, subject(&message.text), message.at)?;
    finish(with_end(letter, &end), text)
}

/// The question whether the owner of an address wants letters there.
pub fn of_confirmation(
    house: &House,
    envelope: Envelope<'_>,
    taken: &Taken,
) -> Result<Letter, ServerError> {
    let confirm = LetterLink::Confirm.address(house, taken.channel.id);
    let text = render(&ConfirmText { taken, confirm })?;
    let subject = format!("Letters of {} to this address?", taken.network);
    finish(begin(envelope, taken, subject, taken.made_at)?, text)
}

/// The weekly letter.
pub fn of_week(
    house: &House,
    envelope: Envelope<'_>,
    taken: &Taken,
    week: &Week,
) -> Result<Letter, ServerError> {
    let end = LetterLink::End.address(house, taken.channel.id);
    let link = format!("{}/", house.reached.url);
    let text = render(&DigestText { taken, week, link, end: end.clone() })?;
    let subject = format!("{}: the week of {}", taken.farm.name, week.from.spoken());
    finish(with_end(begin(envelope, taken, subject, taken.made_at)?, &end), text)
}

fn begin(
    envelope: Envelope<'_>,
    taken: &Taken,
    subject: String,
    at: DateTime<Utc>,
) -> Result<MessageBuilder, ServerError> {
    let to = envelope.to.as_str().parse::<Address>().map_err(cant_be_written)?;
    let domain = envelope.from.email.domain();
    Ok(Letter::builder()
        .from(envelope.from.clone())
        .to(Mailbox::new(None, to))
        .subject(subject)
        .date(SystemTime::from(at))
        .message_id(Some(format!("<{}@{domain}>", taken.id)))
        .header(ContentType::TEXT_PLAIN)
        .raw_header(header("Auto-Submitted", "auto-generated".to_owned())))
}

fn with_end(letter: MessageBuilder, end: &str) -> MessageBuilder {
    letter
        .raw_header(header("List-Unsubscribe", format!("<{end}>")))
        .raw_header(header("List-Unsubscribe-Post", "List-Unsubscribe=One-Click".to_owned()))
}

const fn name(name: &'static str) -> HeaderName {
    HeaderName::new_from_ascii_str(name)
}

fn header(called: &'static str, value: String) -> HeaderValue {
    HeaderValue::new(name(called), value)
}

fn finish(letter: MessageBuilder, text: String) -> Result<Letter, ServerError> {
    letter.body(text).map_err(cant_be_written)
}

fn render(template: &impl Template) -> Result<String, ServerError> {
    template.render().map_err(cant_be_written)
}

fn cant_be_written(error: impl std::fmt::Display) -> ServerError {
    ServerError::broken(format!("a letter can't be written: {error}"))
}

/// The first sentence, cut to a line.
pub fn subject(text: &str) -> String {
    let line = text.lines().next().unwrap_or_default();
    let sentence = line.split_inclusive(". ").next().unwrap_or(line).trim().trim_end_matches('.');
    if sentence.chars().count() <= LONGEST_SUBJECT {
        return sentence.to_owned();
    }
    let cut: String = sentence.chars().take(LONGEST_SUBJECT - 1).collect();
    format!("{}…", cut.trim_end())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_subject_is_the_first_sentence_on_one_line() {
        let told = "Ashlode agreed to hold 6 of 'Ember Lantern' for you. They say: by the gate";
        assert_eq!(subject(told), "Ashlode agreed to hold 6 of 'Ember Lantern' for you");
        assert_eq!(subject("One.\nBcc: x@y.example"), "One");
        assert_eq!(subject(&"a".repeat(200)).chars().count(), LONGEST_SUBJECT);
        assert_eq!(subject(""), "");
    }
}
