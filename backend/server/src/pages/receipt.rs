//! The receipt: the taker counts, checks, and confirms what arrived.

use actix_web::web::{Path, ServiceConfig};
use actix_web::{HttpRequest, get, post};
use askama::Template;
use spareloop_api::exchange::{HandOverView, HoldView, Receipt};
use spareloop_api::problem::ProblemCode;
use spareloop_domain::exchange::Arrival;
use spareloop_domain::exchange::parcel::FrostBorneBy;
use spareloop_domain::words::Count;

use super::field::Choice;
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
#[template(path = "receipt.html")]
struct FillPage<'a> {
    page: Page,
    form: &'a Form,
    hold: &'a HoldView,
    passed: &'a HandOverView,
    arrivals: Vec<Choice>,
}

#[derive(Template)]
#[template(path = "receipt_check.html")]
struct CheckPage<'a> {
    page: Page,
    form: &'a Form,
    hold: &'a HoldView,
    passed: &'a HandOverView,
    request: &'a Receipt,
    owed_for: Count,
}

/// How many the taker will owe for: where it bears freezing, what was given.
fn owed_for(hold: &HoldView, passed: &HandOverView, request: &Receipt) -> Count {
    let frost = hold.parcel.as_ref().map(|parcel| parcel.frost);
    match (request.arrival, frost) {
        (Arrival::Frozen, Some(FrostBorneBy::Taker)) => passed.given,
        _ => request.received.min(passed.given),
    }
}

#[get("/holds/{hold}/receipt")]
async fn open(signed: Signed<Grower>, id: Path<String>, request: HttpRequest) -> Answer {
    let hold = find(&signed, &id).await?;
    let passed = passed(&hold)?;
    let mut form = Form::from_query(&request).with_ids(&signed.visitor.house, &[])?;
    if form.step() == Step::Check
        && let Some(request) = read(&mut form)
    {
        let page = signed.visitor.page("Check before you confirm");
        let owed_for = owed_for(&hold, passed, &request);
        let check =
            CheckPage { page, form: &form, hold: &hold, passed, request: &request, owed_for };
        return signed.visitor.show(&check);
    }
    fill(&signed, form, &hold)
}

#[post("/holds/{hold}/receipt")]
async fn send(signed: Signed<Grower>, id: Path<String>, posted: Posted) -> Answer {
    let hold = find(&signed, &id).await?;
    let passed = passed(&hold)?.hand_over;
    let mut form = posted.0;
    let key = form.key()?;
    let house = &signed.visitor.house;
    if let Some(request) = read(&mut form) {
        match holds::receive(house, signed.caller, &key, passed, request).await {
            Ok(_) => return Ok(see_other(&format!("/holds/{}?done=received", hold.hold))),
            Err(error) => form.take(error)?,
        }
    }
    fill(&signed, form, &hold)
}

/// What was handed over; nothing can be confirmed before that.
fn passed(hold: &HoldView) -> Result<&HandOverView, ServerError> {
    hold.hand_over.as_ref().ok_or_else(|| {
        ServerError::refused(ProblemCode::NotInThatState, "Nothing was handed over yet.")
    })
}

fn read(form: &mut Form) -> Option<Receipt> {
    let (received, on) = (form.read("received"), form.read("on"));
    let condition = form.value("condition").trim().to_owned();
    let arrival = form.read_if_any("arrival").unwrap_or(Arrival::Arrived);
    Some(Receipt { received: received?, on: on?, condition, arrival })
}

fn fill(signed: &Signed<Grower>, form: Form, hold: &HoldView) -> Answer {
    let passed = passed(hold)?;
    let today = signed.visitor.house.today()?;
    let form = if form.is_wrong() { form } else { form.or("on", today) };
    let page = signed.visitor.form_page("Confirm what arrived", &form);
    let arrivals = Arrival::ALL.iter().map(|it| Choice::new(it.code(), it)).collect();
    signed.visitor.show_form(&form, &FillPage { page, form: &form, hold, passed, arrivals })
}
