//! What links in letters lead to: confirming an address, ending what is sent there.
//!
//! No sign-in is asked for: the link's secret is what opens these, so that a letter can be ended by
//! whoever reads it, and by a mail program with one press (RFC 8058). Opening a link does nothing,
//! since programs open links by themselves; a press of the button, or the mail program's POST, does.
//! A POST is answered here and leads nowhere else, as RFC 8058 wants it.

use actix_web::web::{Query, ServiceConfig};
use actix_web::{get, post};
use askama::Template;
use serde::Deserialize;
use spareloop_api::people::Secret;
use spareloop_api::problem::ProblemCode;

use super::form::encode;
use super::layout::{Answer, Page};
use super::session::Visitor;
use crate::acts::channels::{self, Link};
use crate::error::ServerError;
use crate::telling::links::LetterLink;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(ask_confirm).service(confirm).service(ask_end).service(end);
}

#[derive(Template)]
#[template(path = "letter_ask.html")]
struct AskPage {
    page: Page,
    words: &'static str,
    action: String,
    button: &'static str,
}

#[derive(Template)]
#[template(path = "letter_done.html")]
struct DonePage {
    page: Page,
    words: String,
}

#[derive(Deserialize)]
struct Typed {
    #[serde(default)]
    channel: String,
    #[serde(default)]
    token: String,
}

impl Typed {
    fn link(&self) -> Result<Link, ServerError> {
        let channel = self.channel.parse().map_err(|_| {
            ServerError::refused(ProblemCode::CodeUsedUp, "That link is not whole.")
        })?;
        Ok(Link { channel, token: Secret(self.token.clone()) })
    }

    fn action(&self, path: &str) -> String {
        format!("{path}?{}&{}", encode("channel", &self.channel), encode("token", &self.token))
    }
}

#[get("/letters/confirm")]
async fn ask_confirm(visitor: Visitor, typed: Query<Typed>) -> Answer {
    channels::check_link(&visitor.house, LetterLink::Confirm, &typed.link()?)?;
    visitor.show(&AskPage {
        page: visitor.page("Confirm this address"),
        words: "What the farm is told is sent to this address once you confirm it. Every letter can \
                end that again.",
        action: typed.action("/letters/confirm"),
        button: "Confirm",
    })
}

#[post("/letters/confirm")]
async fn confirm(visitor: Visitor, typed: Query<Typed>) -> Answer {
    let address = channels::confirm(&visitor.house, &typed.link()?).await?;
    let words = format!("Letters go to {address} from now on.");
    visitor.show(&DonePage { page: visitor.page("Confirmed"), words })
}

#[get("/letters/end")]
async fn ask_end(visitor: Visitor, typed: Query<Typed>) -> Answer {
    channels::check_link(&visitor.house, LetterLink::End, &typed.link()?)?;
    visitor.show(&AskPage {
        page: visitor.page("No more letters"),
        words: "Nothing more is sent to this address once you press the button.",
        action: typed.action("/letters/end"),
        button: "End the letters",
    })
}

#[post("/letters/end")]
async fn end(visitor: Visitor, typed: Query<Typed>) -> Answer {
    channels::end_letters(&visitor.house, &typed.link()?).await?;
    visitor.show(&DonePage {
        page: visitor.page("No more letters"),
        words: "Nothing more is sent to this address. The farm can see that it was ended."
            .to_owned(),
    })
}
