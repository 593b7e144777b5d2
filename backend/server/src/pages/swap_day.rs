//! Lists for a swap day, to be printed: what a farm packs, and what passes in the hall.

use actix_web::get;
use actix_web::web::{Path, ServiceConfig};
use askama::Template;
use spareloop_api::rounds::SwapDayLists;
use spareloop_domain::words::ProposalId;

use super::layout::{Answer, Page};
use super::say;
use super::session::Signed;
use crate::acts::rounds;
use crate::auth::caller::Member;
use crate::error::ServerError;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(packing).service(hall);
}

#[derive(Template)]
#[template(path = "packing.html")]
struct PackingPage {
    page: Page,
    lists: SwapDayLists,
}

#[derive(Template)]
#[template(path = "hall.html")]
struct HallPage {
    page: Page,
    lists: SwapDayLists,
    proposal: String,
}

async fn lists(signed: &Signed<Member>, id: &str) -> Result<SwapDayLists, ServerError> {
    let id: ProposalId = id.parse().map_err(|_| ServerError::not_found())?;
    rounds::lists(&signed.visitor.house, signed.caller, id).await
}

#[get("/proposals/{proposal}/packing")]
async fn packing(signed: Signed<Member>, id: Path<String>) -> Answer {
    let lists = lists(&signed, &id).await?;
    let page = signed.visitor.page("Packing list");
    signed.visitor.show(&PackingPage { page, lists })
}

#[get("/proposals/{proposal}/hall")]
async fn hall(signed: Signed<Member>, id: Path<String>) -> Answer {
    let lists = lists(&signed, &id).await?;
    let page = signed.visitor.page("Hall list");
    signed.visitor.show(&HallPage { page, lists, proposal: id.into_inner() })
}
