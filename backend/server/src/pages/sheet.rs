//! The network's spare and short sheet: a ruled table by variety, offers beside wants.

use std::collections::BTreeMap;

use actix_web::get;
use actix_web::web::{Query, ServiceConfig};
use askama::Template;
use serde::Deserialize;
use spareloop_api::exchange::{Board, OfferView, WantView};
use spareloop_domain::exchange::OpenTo;
use spareloop_domain::words::{FarmId, UnitKind, fold_key};
use uuid::Uuid;

use super::layout::{Answer, Page};
use super::say;
use super::session::Signed;
use crate::acts::exchange;
use crate::auth::caller::Member;

/// Most offers, and most wants, on one sheet.
const MOST: u32 = 200;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(open);
}

#[derive(Template)]
#[template(path = "sheet.html")]
struct SheetPage {
    page: Page,
    farm: Option<FarmId>,
    rows: Vec<Row>,
    more: Option<Uuid>,
    from_start: FromStart,
}

/// Whether this sheet is the first.
#[derive(PartialEq, Eq)]
enum FromStart {
    Yes,
    No,
}

/// One variety and unit kind.
struct Row {
    variety: String,
    unit: UnitKind,
    offers: Vec<OfferView>,
    wants: Vec<WantView>,
}

#[derive(Deserialize)]
struct Asked {
    after: Option<String>,
}

#[get("/sheet")]
async fn open(signed: Signed<Member>, asked: Query<Asked>) -> Answer {
    let after = asked.after.as_deref().and_then(|after| after.parse().ok());
    let house = &signed.visitor.house;
    let board = exchange::board(house, signed.caller, after, MOST).await?;
    let (board, more) = first_sheet(board, MOST as usize);
    let page = signed.visitor.page("Spare and short");
    let from_start = if after.is_none() { FromStart::Yes } else { FromStart::No };
    let farm = signed.caller.farm;
    signed.visitor.show(&SheetPage { page, farm, rows: rows(board), more, from_start })
}

/// Cuts a board whose lists may be full to what both lists have seen, and says where to go on.
fn first_sheet(mut board: Board, most: usize) -> (Board, Option<Uuid>) {
    let last_offer = board.offers.last().map(|offer| offer.offer.uuid());
    let last_want = board.wants.last().map(|want| want.want.uuid());
    let end = [
        last_offer.filter(|_| board.offers.len() >= most),
        last_want.filter(|_| board.wants.len() >= most),
    ]
    .into_iter()
    .flatten()
    .min();
    if let Some(end) = end {
        board.offers.retain(|offer| offer.offer.uuid() <= end);
        board.wants.retain(|want| want.want.uuid() <= end);
    }
    (board, end)
}

fn rows(board: Board) -> Vec<Row> {
    let mut rows: BTreeMap<(String, UnitKind), Row> = BTreeMap::new();
    let row = |variety: &str, unit| Row {
        variety: variety.to_owned(),
        unit,
        offers: Vec::new(),
        wants: Vec::new(),
    };
    for offer in board.offers {
        let key = (fold_key(&offer.variety), offer.unit);
        rows.entry(key).or_insert_with(|| row(&offer.variety, offer.unit)).offers.push(offer);
    }
    for want in board.wants {
        let key = (fold_key(&want.variety), want.unit);
        rows.entry(key).or_insert_with(|| row(&want.variety, want.unit)).wants.push(want);
    }
    rows.into_values().collect()
}

impl SheetPage {
    /// Whether a line is of the visitor's own farm.
    fn is_visitors(&self, farm: &FarmId) -> bool {
        self.farm.as_ref() == Some(farm)
    }

    /// What an offer's line says beside its count.
    fn about_offer(offer: &OfferView) -> String {
        let mut parts = vec![offer.farm.name.clone()];
        parts.extend(offer.distance_km.map(|far| far.to_string()));
        parts.push(offer.firmness.clone());
        match offer.eyes.as_str() {
            "eyed" => parts.push("eyed".to_owned()),
            "not-yet-eyed" => parts.push("not yet eyed".to_owned()),
            _ => {}
        }
        if offer.open_to == OpenTo::Beginners {
            parts.push("a starter gift for beginners".to_owned());
        }
        if offer.identity == spareloop_domain::words::Identity::Unsure {
            parts.push(offer.identity.to_string());
        }
        parts.join(", ")
    }

    /// What a want's line says beside its count.
    fn about_want(want: &WantView) -> String {
        let mut parts = vec![want.farm.name.clone()];
        parts.extend(want.distance_km.map(|far| far.to_string()));
        parts.extend(want.within_km.map(|within| format!("from within {within}")));
        parts.extend(want.needed_by.as_ref().map(|day| format!("by {}", say::day(day))));
        if !want.instead.is_empty() {
            parts.push(format!("or {}", want.instead.join(", ")));
        }
        if !want.conditions.is_empty() {
            parts.push(want.conditions.clone());
        }
        if !want.required.is_empty() {
            parts.push(format!("asks for signed statements: {}", say::kinds(&want.required)));
        }
        parts.join(", ")
    }
}
