//! Matches: who has what the farm lacks, and lacks what it has.

use actix_web::get;
use actix_web::web::ServiceConfig;
use askama::Template;
use spareloop_api::exchange::MatchView;

use super::layout::{Answer, Page};
use super::say;
use super::session::Signed;
use crate::acts::exchange;
use crate::auth::caller::Grower;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(open);
}

#[derive(Template)]
#[template(path = "matches.html")]
struct MatchesPage {
    page: Page,
    matches: Vec<MatchView>,
}

#[get("/matches")]
async fn open(signed: Signed<Grower>) -> Answer {
    let matches = exchange::matches(&signed.visitor.house, signed.caller).await?.matches;
    let page = signed.visitor.page("Matches");
    signed.visitor.show(&MatchesPage { page, matches })
}
