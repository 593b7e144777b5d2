//! Wants: say what the farm lacks, and withdraw it.

use actix_web::web::{Path, ServiceConfig};
use actix_web::{HttpRequest, get, post};
use askama::Template;
use spareloop_api::exchange::MakeWant;
use spareloop_domain::exchange::GreatestDistance;
use spareloop_domain::words::{Day, UnitKind, WantId};

use super::field::Choice;
use super::form::{Form, Posted};
use super::layout::{Answer, Page, see_other};
use super::required::{self, Required};
use super::session::{Signed, key_once};
use crate::acts::exchange;
use crate::auth::caller::Grower;
use crate::error::ServerError;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(new).service(make).service(withdraw);
}

#[derive(Template)]
#[template(path = "want_new.html")]
struct NewWantPage<'a> {
    page: Page,
    form: &'a Form,
    units: &'a [Choice],
    required: Vec<Required>,
}

#[get("/wants/new")]
async fn new(signed: Signed<Grower>, request: HttpRequest) -> Answer {
    let form = Form::from_query(&request).with_ids(&signed.visitor.house, &["want"])?;
    show(&signed, &form.or("unit", UnitKind::Division.code()))
}

#[post("/wants/new")]
async fn make(signed: Signed<Grower>, posted: Posted) -> Answer {
    let mut form = posted.0;
    let (key, want) = (form.key()?, WantId::new(form.id("want")?));
    let variety = form.read::<String>("variety");
    let (count, unit) = (form.read("count"), form.read("unit"));
    let needed_by = form.read_if_any::<Day>("needed_by");
    let within_km = form.read_if_any::<GreatestDistance>("within_km");
    let (Some(variety), Some(count), Some(unit), false) = (variety, count, unit, form.is_wrong())
    else {
        return show(&signed, &form);
    };
    let instead = form.value("instead").lines().map(str::trim);
    let instead = instead.filter(|line| !line.is_empty()).map(str::to_owned).collect();
    let conditions = form.value("conditions").trim().to_owned();
    let required = required::ticked(&form);
    let request = MakeWant {
        want,
        variety,
        instead,
        unit,
        count,
        needed_by,
        conditions,
        required,
        within_km,
    };
    match exchange::make_want(&signed.visitor.house, signed.caller, &key, request).await {
        Ok(_) => Ok(see_other("/sheet?done=wanted")),
        Err(error) => {
            form.take(error)?;
            show(&signed, &form)
        }
    }
}

fn show(signed: &Signed<Grower>, form: &Form) -> Answer {
    let units: Vec<Choice> =
        UnitKind::ALL.iter().map(|unit| Choice::new(unit.code(), unit)).collect();
    let required = required::all(form);
    let page = signed.visitor.form_page("Want", form);
    signed.visitor.show_form(form, &NewWantPage { page, form, units: &units, required })
}

#[post("/wants/{want}/withdraw")]
async fn withdraw(signed: Signed<Grower>, id: Path<String>, _posted: Posted) -> Answer {
    let id: WantId = id.parse().map_err(|_| ServerError::not_found())?;
    let key = key_once("withdraw", id)?;
    exchange::withdraw_want(&signed.visitor.house, signed.caller, &key, id).await?;
    Ok(see_other("/sheet?done=withdrawn-want"))
}
