//! What a unit is worth: every variety that is offered or wanted, with its likely range and why.

use actix_web::get;
use actix_web::web::ServiceConfig;
use askama::Template;
use spareloop_api::values::ValueLine;
use spareloop_domain::words::Day;

use super::layout::{Answer, Page};
use super::say;
use super::session::Signed;
use crate::acts::values;
use crate::auth::caller::Member;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(open);
}

#[derive(Template)]
#[template(path = "values.html")]
struct ValuesPage {
    page: Page,
    made: Day,
    values: Vec<ValueLine>,
}

#[get("/values")]
async fn open(signed: Signed<Member>) -> Answer {
    let told = values::values(&signed.visitor.house, signed.caller).await?;
    let page = signed.visitor.page("Values");
    let values = told.values.clone();
    signed.visitor.show(&ValuesPage { page, made: told.market.made, values })
}
