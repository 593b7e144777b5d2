//! At a swap day: something brought that was not planned, and stock handed over on the spot.

use actix_web::web::{Path, ServiceConfig};
use actix_web::{get, post};
use askama::Template;
use spareloop_api::exchange::{OfferView, PassOnTheSpot};
use spareloop_api::rounds::BringWalkUp;
use spareloop_domain::exchange::Money;
use spareloop_domain::words::{
    Count, Day, FarmId, HandOverId, HoldId, LotId, OfferId, ProposalId, Purpose, UnitKind,
};

use super::field::Choice;
use super::form::{Form, Posted};
use super::layout::{Answer, Page, see_other};
use super::offers::read_id;
use super::say;
use super::session::Signed;
use crate::acts::{exchange, movement, walk_ups};
use crate::auth::caller::Grower;
use crate::error::ServerError;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(open_bring).service(bring).service(open_pass).service(pass);
}

#[derive(Template)]
#[template(path = "walk_up.html")]
struct BringPage<'a> {
    page: Page,
    form: &'a Form,
    swap_day: ProposalId,
    units: Vec<Choice>,
}

#[derive(Template)]
#[template(path = "pass.html")]
struct PassPage<'a> {
    page: Page,
    form: &'a Form,
    offer: &'a OfferView,
    farms: Vec<Choice>,
    purposes: [Choice; 3],
}

fn swap_day(text: &str) -> Result<ProposalId, ServerError> {
    text.parse().map_err(|_| ServerError::not_found())
}

#[get("/proposals/{proposal}/walk-up")]
async fn open_bring(signed: Signed<Grower>, id: Path<String>) -> Answer {
    let house = &signed.visitor.house;
    let form =
        Form::new(house)?.with_ids(house, &["offer", "lot"])?.or("unit", UnitKind::Division.code());
    show_bring(&signed, &form, swap_day(&id)?)
}

#[post("/proposals/{proposal}/walk-up")]
async fn bring(signed: Signed<Grower>, id: Path<String>, posted: Posted) -> Answer {
    let id = swap_day(&id)?;
    let mut form = posted.0;
    let key = form.key()?;
    let (offer, lot) = (OfferId::new(form.id("offer")?), LotId::new(form.id("lot")?));
    let (Some(unit), Some(count)) = (form.read::<UnitKind>("unit"), form.read::<Count>("count"))
    else {
        return show_bring(&signed, &form, id);
    };
    let variety = form.value("variety").trim().to_owned();
    let request = BringWalkUp { offer, lot, variety, unit, count };
    match walk_ups::bring(&signed.visitor.house, signed.caller, &key, id, request).await {
        Ok(made) => Ok(see_other(&format!("/offers/{}?done=offered", made.offer))),
        Err(error) => {
            form.take(error)?;
            show_bring(&signed, &form, id)
        }
    }
}

fn show_bring(signed: &Signed<Grower>, form: &Form, swap_day: ProposalId) -> Answer {
    let units = UnitKind::ALL.iter().map(|unit| Choice::new(unit.code(), unit)).collect();
    let page = signed.visitor.form_page("Bring something to the swap day", form);
    signed.visitor.show_form(form, &BringPage { page, form, swap_day, units })
}

#[get("/offers/{offer}/pass")]
async fn open_pass(signed: Signed<Grower>, id: Path<String>) -> Answer {
    let house = &signed.visitor.house;
    let form = Form::new(house)?
        .with_ids(house, &["hold", "hand_over"])?
        .or("purpose", Purpose::Swap.code())
        .or("worth", "1.0")
        .or("on", house.today()?);
    show_pass(&signed, &form, read_id(&id)?).await
}

#[post("/offers/{offer}/pass")]
async fn pass(signed: Signed<Grower>, id: Path<String>, posted: Posted) -> Answer {
    let id = read_id(&id)?;
    let mut form = posted.0;
    let key = form.key()?;
    let Some(request) = read_pass(&mut form)? else {
        return show_pass(&signed, &form, id).await;
    };
    match walk_ups::pass(&signed.visitor.house, signed.caller, &key, id, request).await {
        Ok(passed) => Ok(see_other(&format!("/holds/{}?done=handed-over", passed.hold))),
        Err(error) => {
            form.take(error)?;
            show_pass(&signed, &form, id).await
        }
    }
}

fn read_pass(form: &mut Form) -> Result<Option<PassOnTheSpot>, ServerError> {
    let (to, count) = (form.read::<FarmId>("farm"), form.read::<Count>("count"));
    let (purpose, on) = (form.read::<Purpose>("purpose"), form.read::<Day>("on"));
    let worth = match purpose {
        Some(Purpose::Swap) => form.read_tenths("worth"),
        _ => Some(0),
    };
    let unit_price = match purpose {
        Some(Purpose::Sale) => form.read::<Money>("price"),
        _ => None,
    };
    let (Some(to), Some(count), Some(purpose), Some(on), Some(unit_value_tenths)) =
        (to, count, purpose, on, worth)
    else {
        return Ok(None);
    };
    if form.is_wrong() {
        return Ok(None);
    }
    Ok(Some(PassOnTheSpot {
        hold: HoldId::new(form.id("hold")?),
        hand_over: HandOverId::new(form.id("hand_over")?),
        to,
        count,
        purpose,
        unit_value_tenths,
        unit_price,
        on,
        condition: form.value("condition").trim().to_owned(),
    }))
}

async fn show_pass(signed: &Signed<Grower>, form: &Form, id: OfferId) -> Answer {
    let house = &signed.visitor.house;
    let offer = exchange::offer(house, signed.caller.into(), id).await?;
    if offer.farm.id != signed.caller.farm {
        return Err(ServerError::not_found().into());
    }
    let all = movement::view(house, signed.caller.into()).await?.farms.into_iter();
    let farms = all
        .filter(|one| one.farm.id != signed.caller.farm)
        .map(|one| Choice::new(one.farm.id, one.farm.name))
        .collect();
    let purposes = [
        Choice::new(Purpose::Swap.code(), "Swap: the owed book takes its worth"),
        Choice::new(Purpose::Gift.code(), "Gift: nothing is owed"),
        Choice::new(Purpose::Sale.code(), "Sale: money passes between the two of you, not here"),
    ];
    let page = signed.visitor.form_page("Hand over on the spot", form);
    signed.visitor.show_form(form, &PassPage { page, form, offer: &offer, farms, purposes })
}
