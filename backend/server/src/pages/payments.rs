//! Money that passed: noted by one of the two farms, confirmed by the other.

use actix_web::web::{Path, ServiceConfig};
use actix_web::{get, post};
use askama::Template;
use spareloop_api::exchange::HoldView;
use spareloop_api::payments::NotePayment;
use spareloop_domain::exchange::{Money, PaymentAct};
use spareloop_domain::words::{Day, FarmId, PaymentId};

use super::form::{Form, Posted};
use super::holds::find;
use super::layout::{Answer, Page, see_other};
use super::say;
use super::session::{Signed, key_once};
use crate::acts::payments;
use crate::auth::caller::Grower;
use crate::error::ServerError;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(open).service(note).service(act);
}

#[derive(Template)]
#[template(path = "payment.html")]
struct PaymentPage<'a> {
    page: Page,
    form: &'a Form,
    hold: &'a HoldView,
    farm: FarmId,
}

#[get("/holds/{hold}/payment")]
async fn open(signed: Signed<Grower>, id: Path<String>) -> Answer {
    let hold = find(&signed, &id).await?;
    let house = &signed.visitor.house;
    let form = Form::new(house)?.with_ids(house, &["payment"])?.or("on", house.today()?);
    let form = match hold.unit_price.map(|price| price.times(hold.count)) {
        Some(Ok(all)) => form.or("amount", all),
        _ => form,
    };
    show(&signed, &form, &hold)
}

#[post("/holds/{hold}/payment")]
async fn note(signed: Signed<Grower>, id: Path<String>, posted: Posted) -> Answer {
    let hold = find(&signed, &id).await?;
    let mut form = posted.0;
    let (key, payment) = (form.key()?, PaymentId::new(form.id("payment")?));
    let (Some(amount), Some(on)) = (form.read::<Money>("amount"), form.read::<Day>("on")) else {
        return show(&signed, &form, &hold);
    };
    let request = NotePayment { payment, amount, on };
    match payments::note(&signed.visitor.house, signed.caller, &key, hold.hold, request).await {
        Ok(_) => Ok(see_other(&format!("/holds/{}?done=paid", hold.hold))),
        Err(error) => {
            form.take(error)?;
            show(&signed, &form, &hold)
        }
    }
}

fn show(signed: &Signed<Grower>, form: &Form, hold: &HoldView) -> Answer {
    let page = signed.visitor.form_page("Note that money passed", form);
    let farm = signed.caller.farm;
    signed.visitor.show_form(form, &PaymentPage { page, form, hold, farm })
}

#[post("/holds/{hold}/payments/{payment}/{act}")]
async fn act(
    signed: Signed<Grower>,
    path: Path<(String, String, String)>,
    _posted: Posted,
) -> Answer {
    let (hold, payment, act) = path.into_inner();
    let hold = find(&signed, &hold).await?;
    let payment: PaymentId = payment.parse().map_err(|_| ServerError::not_found())?;
    let act: PaymentAct = act.parse().map_err(|_| ServerError::not_found())?;
    let key = key_once(act.code(), payment)?;
    payments::act(&signed.visitor.house, signed.caller, &key, payment, act).await?;
    Ok(see_other(&format!("/holds/{}?done=payment", hold.hold)))
}
