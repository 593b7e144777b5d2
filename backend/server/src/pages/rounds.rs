//! Rounds: those of the network, what they propose to the visitor's farm, one round in full.

use actix_web::get;
use actix_web::web::{Path, ServiceConfig};
use askama::Template;
use spareloop_api::rounds::{ProposalView, RoundLine, RoundView, TimetableView};
use spareloop_domain::words::RoundId;

use super::layout::{Answer, Page};
use super::say;
use super::session::Signed;
use crate::acts::rounds;
use crate::auth::caller::{Coordinator, Grower, Member};
use crate::error::ServerError;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(every_round).service(look);
}

#[derive(Template)]
#[template(path = "rounds.html")]
struct RoundsPage {
    page: Page,
    runs: Runs,
    rounds: Vec<RoundLine>,
    proposals: Vec<ProposalView>,
    timetable: TimetableView,
}

/// Whether the visitor runs the network.
#[derive(PartialEq, Eq)]
enum Runs {
    /// They do.
    It,
    /// They have a farm in it.
    AFarm,
}

#[derive(Template)]
#[template(path = "round.html")]
struct RoundPage {
    page: Page,
    round: RoundView,
}

#[get("/rounds")]
async fn every_round(signed: Signed<Member>) -> Answer {
    let house = &signed.visitor.house;
    let person = signed.visitor.signed_in.as_ref().map(|it| &it.person);
    let runs = match person.and_then(Coordinator::of) {
        Some(_) => Runs::It,
        None => Runs::AFarm,
    };
    let rounds = rounds::list(house, signed.caller).await?;
    let proposals = match person.and_then(Grower::of) {
        Some(grower) => rounds::own_proposals(house, grower).await?,
        None => Vec::new(),
    };
    let timetable = rounds::timetable(house, signed.caller).await?;
    let page = signed.visitor.page("Rounds");
    signed.visitor.show(&RoundsPage { page, runs, rounds, proposals, timetable })
}

#[get("/rounds/{round}")]
async fn look(signed: Signed<Member>, id: Path<String>) -> Answer {
    let id: RoundId = id.parse().map_err(|_| ServerError::not_found())?;
    let round = rounds::round(&signed.visitor.house, signed.caller, id).await?;
    let title = match round.line.kind.as_str() {
        "swap-day" => "Round for a swap day",
        _ => "Round of loops",
    };
    let page = signed.visitor.page(title);
    signed.visitor.show(&RoundPage { page, round })
}
