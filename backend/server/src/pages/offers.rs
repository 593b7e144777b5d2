//! Offers: make one from a lot of the farm's stock, look at one, withdraw one.

use actix_web::web::{Path, ServiceConfig};
use actix_web::{HttpRequest, get, post};
use askama::Template;
use spareloop_api::attest::Standing;
use spareloop_api::exchange::{MakeOffer, OfferView, SignsOfDisease};
use spareloop_api::stock::{LotLine, StockLine};
use spareloop_domain::exchange::OpenTo;
use spareloop_domain::words::{Count, FarmId, LotId, OfferId};

use super::field::Choice;
use super::form::{Form, Posted};
use super::layout::{Answer, Page, see_other};
use super::say;
use super::session::{Signed, key_once};
use crate::acts::{exchange, stock};
use crate::auth::caller::{Grower, Member};
use crate::error::ServerError;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(new).service(make).service(one).service(withdraw);
}

#[derive(Template)]
#[template(path = "offer_new.html")]
struct NewOfferPage<'a> {
    page: Page,
    form: &'a Form,
    line: &'a StockLine,
    lot: &'a LotLine,
    whom: [Choice; 2],
}

#[derive(Template)]
#[template(path = "offer.html")]
struct OfferPage {
    page: Page,
    offer: OfferView,
    part: Part,
}

/// What the visitor may do with an offer.
#[derive(PartialEq, Eq)]
enum Part {
    /// It is their farm's.
    Theirs,
    /// They may ask for a hold.
    MayAsk,
    /// Nothing is free: they may wait in line.
    MayWait,
    /// They only look.
    Looks,
}

#[get("/offers/new")]
async fn new(signed: Signed<Grower>, request: HttpRequest) -> Answer {
    let form = Form::from_query(&request).with_ids(&signed.visitor.house, &["offer"])?;
    show_new(&signed, form).await
}

#[post("/offers/new")]
async fn make(signed: Signed<Grower>, posted: Posted) -> Answer {
    let mut form = posted.0;
    let (key, offer) = (form.key()?, OfferId::new(form.id("offer")?));
    let lot = LotId::new(form.id("lot")?);
    let (Some(count), Some(smallest_parcel)) = (form.read("count"), form.read("smallest_parcel"))
    else {
        return show_new(&signed, form).await;
    };
    let Some(open_to) = form.read::<OpenTo>("open_to") else {
        return show_new(&signed, form).await;
    };
    let conditions = form.value("conditions").trim().to_owned();
    let request = MakeOffer { offer, lot, count, smallest_parcel, conditions, open_to };
    match exchange::make_offer(&signed.visitor.house, signed.caller, &key, request).await {
        Ok(made) => Ok(see_other(&format!("/offers/{}?done=offered", made.offer))),
        Err(error) => {
            form.take(error)?;
            show_new(&signed, form).await
        }
    }
}

async fn show_new(signed: &Signed<Grower>, form: Form) -> Answer {
    let lot = LotId::new(form.id("lot").map_err(|_| ServerError::not_found())?);
    let stock = stock::stock(&signed.visitor.house, signed.caller).await?;
    let (line, lot) = stock
        .lines
        .iter()
        .find_map(|line| Some((line, line.lots.iter().find(|known| known.lot == lot)?)))
        .ok_or_else(ServerError::not_found)?;
    let form = if form.is_wrong() {
        // What was typed stays as it was typed.
        form
    } else {
        form.or("count", can_go(line, lot))
            .or("smallest_parcel", 1)
            .or("open_to", OpenTo::Everybody.code())
    };
    let whom = [
        Choice::new(OpenTo::Everybody.code(), "Every farm: to swap, to give or to sell"),
        Choice::new(OpenTo::Beginners.code(), "Beginners, as a starter gift: nothing is owed"),
    ];
    let page = signed.visitor.form_page("Offer spare", &form);
    signed.visitor.show_form(&form, &NewOfferPage { page, form: &form, line, lot, whom })
}

/// What can be offered of a lot: what is spare, as far as the lot has it unpromised.
fn can_go(line: &StockLine, lot: &LotLine) -> Count {
    let unpromised = lot.in_store.less(lot.promised);
    line.spare.map_or(unpromised, |spare| spare.min(unpromised))
}

#[get("/offers/{offer}")]
async fn one(signed: Signed<Member>, id: Path<String>) -> Answer {
    let offer = exchange::offer(&signed.visitor.house, signed.caller, read_id(&id)?).await?;
    let part = part(&offer, signed.caller.farm);
    let title = format!("Offer of {}", say::name(&offer.variety, &offer.identity));
    let page = signed.visitor.page(&title);
    signed.visitor.show(&OfferPage { page, offer, part })
}

fn part(offer: &OfferView, farm: Option<FarmId>) -> Part {
    match farm {
        Some(farm) if offer.farm.id == farm => Part::Theirs,
        Some(_) if offer.state == "open" && !offer.free.is_zero() => Part::MayAsk,
        Some(_) if offer.state == "open" => Part::MayWait,
        _ => Part::Looks,
    }
}

#[post("/offers/{offer}/withdraw")]
async fn withdraw(signed: Signed<Grower>, id: Path<String>, _posted: Posted) -> Answer {
    let id = read_id(&id)?;
    let key = key_once("withdraw", id)?;
    exchange::withdraw_offer(&signed.visitor.house, signed.caller, &key, id).await?;
    Ok(see_other(&format!("/offers/{id}?done=withdrawn-offer")))
}

/// An offer's id from an address; what is none is nobody's.
pub(super) fn read_id(text: &str) -> Result<OfferId, ServerError> {
    text.parse().map_err(|_| ServerError::not_found())
}
