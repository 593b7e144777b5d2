//! Handing over: the giver counts, checks, and confirms what left the farm.

use actix_web::web::{Path, ServiceConfig};
use actix_web::{HttpRequest, get, post};
use askama::Template;
use spareloop_api::exchange::{HandOver, HoldView};
use spareloop_domain::words::HandOverId;

use super::form::{Form, Posted, Step};
use super::holds::find;
use super::layout::{Answer, Page, see_other};
use super::say;
use super::session::Signed;
use crate::acts::holds;
use crate::auth::caller::Grower;
use crate::error::ServerError;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(open).service(send);
}

#[derive(Template)]
#[template(path = "hand_over.html")]
struct FillPage<'a> {
    page: Page,
    form: &'a Form,
    hold: &'a HoldView,
}

#[derive(Template)]
#[template(path = "hand_over_check.html")]
struct CheckPage<'a> {
    page: Page,
    form: &'a Form,
    hold: &'a HoldView,
    request: &'a HandOver,
}

#[get("/holds/{hold}/hand-over")]
async fn open(signed: Signed<Grower>, id: Path<String>, request: HttpRequest) -> Answer {
    let hold = find(&signed, &id).await?;
    let house = &signed.visitor.house;
    let mut form = Form::from_query(&request).with_ids(house, &["hand_over"])?;
    if form.step() == Step::Check
        && let Some(request) = read(&mut form)?
    {
        let page = signed.visitor.page("Check before you hand over");
        let check = CheckPage { page, form: &form, hold: &hold, request: &request };
        return signed.visitor.show(&check);
    }
    fill(&signed, form, &hold)
}

#[post("/holds/{hold}/hand-over")]
async fn send(signed: Signed<Grower>, id: Path<String>, posted: Posted) -> Answer {
    let hold = find(&signed, &id).await?;
    let mut form = posted.0;
    let key = form.key()?;
    let house = &signed.visitor.house;
    if let Some(request) = read(&mut form)? {
        match holds::hand_over(house, signed.caller, &key, hold.hold, request).await {
            Ok(_) => return Ok(see_other(&format!("/holds/{}?done=handed-over", hold.hold))),
            Err(error) => form.take(error)?,
        }
    }
    fill(&signed, form, &hold)
}

fn read(form: &mut Form) -> Result<Option<HandOver>, ServerError> {
    let (given, on) = (form.read("given"), form.read("on"));
    let (Some(given), Some(on)) = (given, on) else { return Ok(None) };
    let hand_over = HandOverId::new(form.id("hand_over")?);
    let condition = form.value("condition").trim().to_owned();
    Ok(Some(HandOver { hand_over, given, on, condition }))
}

fn fill(signed: &Signed<Grower>, form: Form, hold: &HoldView) -> Answer {
    let today = signed.visitor.house.today()?;
    let form = if form.is_wrong() { form } else { form.or("given", hold.count).or("on", today) };
    let page = signed.visitor.form_page("Hand over", &form);
    signed.visitor.show_form(&form, &FillPage { page, form: &form, hold })
}
