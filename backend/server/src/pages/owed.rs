//! The owed book: how the farms stand to the network, and the postings of the visitor's own.

use std::collections::BTreeMap;

use actix_web::get;
use actix_web::web::ServiceConfig;
use askama::Template;
use spareloop_api::exchange::{Balance, OwedBook, PostingView};
use spareloop_domain::words::FarmId;

use super::layout::{Answer, Page};
use super::say;
use super::session::Signed;
use crate::acts::exchange;
use crate::auth::caller::{Coordinator, Member};

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(open);
}

#[derive(Template)]
#[template(path = "owed.html")]
struct OwedPage {
    page: Page,
    standing: Option<String>,
    balances: Vec<Balance>,
    postings: Vec<PostingLine>,
    runs: Runs,
}

/// Whether the visitor runs the network and so sets limits.
#[derive(PartialEq, Eq)]
enum Runs {
    It,
    NotIt,
}

/// A posting with names.
struct PostingLine {
    from: String,
    to: String,
    posting: PostingView,
}

#[get("/owed")]
async fn open(signed: Signed<Member>) -> Answer {
    let book = exchange::owed(&signed.visitor.house, signed.caller).await?;
    let page = signed.visitor.page("Owed book");
    let standing = signed.caller.farm.and_then(|farm| standing(&book, farm));
    let names: BTreeMap<FarmId, String> =
        book.balances.iter().map(|one| (one.farm.id, one.farm.name.clone())).collect();
    let name = |farm| names.get(&farm).cloned().unwrap_or_else(|| "former member".to_owned());
    let postings = book
        .postings
        .into_iter()
        .map(|posting| PostingLine { from: name(posting.from), to: name(posting.to), posting })
        .collect();
    let mut balances = book.balances;
    balances.sort_by(|one, other| one.farm.name.cmp(&other.farm.name));
    let person = signed.visitor.signed_in.as_ref().map(|it| &it.person);
    let runs = person.and_then(Coordinator::of).map_or(Runs::NotIt, |_| Runs::It);
    signed.visitor.show(&OwedPage { page, standing, balances, postings, runs })
}

/// How one farm stands, as a sentence.
fn standing(book: &OwedBook, farm: FarmId) -> Option<String> {
    let own = book.balances.iter().find(|balance| balance.farm.id == farm)?;
    let stands = match own.owed_tenths {
        0 => "is even with the network".to_owned(),
        owed if owed > 0 => format!("is owed {} by the network", say::value(owed)),
        owes => format!("owes the network {}", say::value(owes.saturating_neg())),
    };
    Some(format!("{} {stands}.", own.farm.name))
}

impl OwedPage {
    /// How a farm will stand once everything promised has passed.
    fn with_promised(one: &Balance) -> String {
        say::balance(one.owed_tenths.saturating_add(one.promised_tenths))
    }
}
