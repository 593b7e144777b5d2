//! What a farm was told, as an Atom feed (RFC 4287).
//!
//! What may not enter: what it was told.

use askama::Template;
use chrono::{DateTime, SecondsFormat, Utc};
use spareloop_store::channels::Fetched;
use spareloop_store::messages::Message;

use super::letter::subject;
use crate::error::ServerError;

/// How many of the newest messages a feed holds.
pub const NEWEST: u32 = 50;

#[derive(Template)]
#[template(path = "feed.xml")]
struct FeedText<'a> {
    fetched: &'a Fetched,
    messages: &'a [Message],
    url: &'a str,
}

/// Writes the feed, newest first. Its own address is not in it: it is a secret.
pub fn write(fetched: &Fetched, messages: &[Message], url: &str) -> Result<String, ServerError> {
    FeedText { fetched, messages, url }
        .render()
        .map_err(|error| ServerError::broken(format!("a feed can't be written: {error}")))
}

impl FeedText<'_> {
    /// When the feed last changed.
    fn updated(&self) -> String {
        Self::stamp(self.messages.first().map_or(&self.fetched.made_at, |newest| &newest.at))
    }

    /// Without what no XML may hold (XML 1.0, 2.2).
    fn plain(text: &str) -> String {
        text.chars()
            .filter(|letter| !letter.is_control() || matches!(letter, '\n' | '\r' | '\t'))
            .filter(|letter| !matches!(letter, '\u{fffe}' | '\u{ffff}'))
            .collect()
    }

    /// As RFC 3339 writes it.
    fn stamp(at: &DateTime<Utc>) -> String {
        at.to_rfc3339_opts(SecondsFormat::Secs, true)
    }

    /// A message's title.
    fn title(message: &Message) -> String {
        Self::plain(&subject(&message.text))
    }

    /// Where a message leads.
    fn link(&self, message: &Message) -> String {
        message
            .hold
            .map_or_else(|| format!("{}/", self.url), |hold| format!("{}/holds/{hold}", self.url))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use spareloop_domain::words::{ChannelId, FarmId, HoldId, MessageId};
    use spareloop_store::Named;
    use uuid::Uuid;

    use super::*;

    fn written(messages: &[Message]) -> String {
        let fetched = Fetched {
            channel: ChannelId::new(Uuid::from_u128(1)),
            made_at: "2027-01-01T00:00:00Z".parse().unwrap(),
            farm: Named { id: FarmId::new(Uuid::from_u128(2)), name: "Ash & <Oak>".into() },
            network: "Invented \"valley\"".into(),
        };
        write(&fetched, messages, "https://loop.example").unwrap()
    }

    fn told(number: u128, text: &str, hold: Option<u128>) -> Message {
        Message {
            id: MessageId::new(Uuid::from_u128(number)),
            at: "2027-02-01T09:00:00Z".parse().unwrap(),
            text: text.into(),
            hold: hold.map(|hold| HoldId::new(Uuid::from_u128(hold))),
        }
    }

    #[test]
    fn another_program_reads_the_feed() {
        let hostile = "Emil asks for 6. They write: </content><script>x</script> & \u{b}\u{7} ä";
        let messages = [told(9, hostile, Some(8)), told(7, "Released.", None)];
        let feed = feed_rs::parser::parse(written(&messages).as_bytes()).expect("a feed");
        assert_eq!(feed.feed_type, feed_rs::model::FeedType::Atom);
        assert_eq!(feed.title.unwrap().content, "Ash & <Oak>: what it was told");
        assert_eq!(feed.entries.len(), 2);
        let [newest, older] = [&feed.entries[0], &feed.entries[1]];
        assert_eq!(newest.id, format!("urn:uuid:{}", messages[0].id));
        assert_eq!(newest.title.as_ref().unwrap().content, "Emil asks for 6");
        let body = newest.content.as_ref().unwrap().body.as_deref().unwrap();
        assert_eq!(body, "Emil asks for 6. They write: </content><script>x</script> &  ä");
        assert_eq!(newest.updated, Some(messages[0].at));
        assert!(newest.links[0].href.ends_with(&format!("/holds/{}", messages[0].hold.unwrap())));
        assert_eq!(older.links[0].href, "https://loop.example/");
    }

    // RFC 4287, 4.1.1 and 4.1.2: what a feed and an entry must have.
    #[test]
    fn an_empty_feed_has_all_that_a_feed_must_have() {
        let text = written(&[]);
        for needed in ["<id>urn:uuid:", "<title>", "<updated>2027-01-01T00:00:00Z<", "<author>"] {
            assert!(text.contains(needed), "{needed} in {text}");
        }
        assert!(feed_rs::parser::parse(text.as_bytes()).unwrap().entries.is_empty());
    }
}
