//! Agreeing to a hold: the page that shows what is agreed to, and the act.

use actix_web::web::{Path, ServiceConfig};
use actix_web::{get, post};
use askama::Template;
use spareloop_api::exchange::{HoldView, Reason};

use super::form::{Form, Posted};
use super::holds::find;
use super::layout::{Answer, Page, see_other};
use super::say;
use super::session::Signed;
use crate::acts::holds;
use crate::auth::caller::Grower;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(check).service(send);
}

#[derive(Template)]
#[template(path = "agree.html")]
struct AgreePage<'a> {
    page: Page,
    form: &'a Form,
    hold: &'a HoldView,
}

#[get("/holds/{hold}/agree")]
async fn check(signed: Signed<Grower>, id: Path<String>) -> Answer {
    let hold = find(&signed, &id).await?;
    show(&signed, &Form::new(&signed.visitor.house)?, &hold)
}

#[post("/holds/{hold}/agree")]
async fn send(signed: Signed<Grower>, id: Path<String>, posted: Posted) -> Answer {
    let hold = find(&signed, &id).await?;
    let mut form = posted.0;
    let (key, why) = (form.key()?, form.value("line").trim().to_owned());
    let house = &signed.visitor.house;
    match holds::agree(house, signed.caller, &key, hold.hold, Reason { why }).await {
        Ok(_) => Ok(see_other(&format!("/holds/{}?done=agreed", hold.hold))),
        Err(error) => {
            form.take(error)?;
            show(&signed, &form, &hold)
        }
    }
}

fn show(signed: &Signed<Grower>, form: &Form, hold: &HoldView) -> Answer {
    let page = signed.visitor.form_page("Check before you agree", form);
    signed.visitor.show_form(form, &AgreePage { page, form, hold })
}
