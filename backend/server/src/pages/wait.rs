//! Waiting in line for an offer of which not enough is free, and leaving the line.

use actix_web::web::{Path, ServiceConfig};
use actix_web::{get, post};
use askama::Template;
use spareloop_api::exchange::{OfferView, WaitInLine};
use spareloop_domain::words::{Purpose, TurnId};

use super::field::Choice;
use super::form::{Form, Posted};
use super::layout::{Answer, Page, see_other};
use super::offers::read_id;
use super::say;
use super::session::{Signed, key_once};
use crate::acts::{exchange, turns};
use crate::auth::caller::Grower;
use crate::error::ServerError;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(open).service(send).service(leave);
}

#[derive(Template)]
#[template(path = "wait.html")]
struct WaitPage<'a> {
    page: Page,
    form: &'a Form,
    offer: &'a OfferView,
    purposes: &'a [Choice],
}

#[get("/offers/{offer}/wait")]
async fn open(signed: Signed<Grower>, id: Path<String>) -> Answer {
    let house = &signed.visitor.house;
    let offer = exchange::offer(house, signed.caller.into(), read_id(&id)?).await?;
    let form = Form::default()
        .with_ids(house, &["turn"])?
        .or("count", offer.smallest_parcel)
        .or("purpose", Purpose::Swap.code())
        .or("worth", "1.0");
    show(&signed, &form, &offer)
}

#[post("/offers/{offer}/wait")]
async fn send(signed: Signed<Grower>, id: Path<String>, posted: Posted) -> Answer {
    let id = read_id(&id)?;
    let house = &signed.visitor.house;
    let mut form = posted.0;
    let (key, turn) = (form.key()?, TurnId::new(form.id("turn")?));
    let (count, purpose) = (form.read("count"), form.read::<Purpose>("purpose"));
    let worth = match purpose {
        Some(Purpose::Gift) => Some(0),
        _ => form.read_tenths("worth"),
    };
    let note = form.value("note").trim().to_owned();
    if let (Some(count), Some(purpose), Some(unit_value_tenths)) = (count, purpose, worth) {
        let request = WaitInLine { turn, count, want: None, purpose, unit_value_tenths, note };
        match turns::wait(house, signed.caller, &key, id, request).await {
            Ok(_) => return Ok(see_other("/holds?done=waits")),
            Err(error) => form.take(error)?,
        }
    }
    let offer = exchange::offer(house, signed.caller.into(), id).await?;
    show(&signed, &form, &offer)
}

#[post("/turns/{turn}/leave")]
async fn leave(signed: Signed<Grower>, id: Path<String>, _posted: Posted) -> Answer {
    let id: TurnId = id.parse().map_err(|_| ServerError::not_found())?;
    let key = key_once("leave", id)?;
    turns::leave(&signed.visitor.house, signed.caller, &key, id).await?;
    Ok(see_other("/holds?done=left"))
}

fn show(signed: &Signed<Grower>, form: &Form, offer: &OfferView) -> Answer {
    let purposes = [
        Choice::new(Purpose::Swap.code(), "Swap: the owed book takes its worth"),
        Choice::new(Purpose::Gift.code(), "Gift: nothing is owed"),
    ];
    let title = format!("Wait for {}", say::name(&offer.variety, &offer.identity));
    let page = signed.visitor.form_page(&title, form);
    signed.visitor.show_form(form, &WaitPage { page, form, offer, purposes: &purposes })
}
