//! Farms on paper: noting one with its consent, acting for it, and the end of the consent.

use actix_web::web::{Path, ServiceConfig};
use actix_web::{get, post};
use askama::Template;
use spareloop_api::exchange::Reason;
use spareloop_api::people::{FarmOnPaperView, MakeFarmOnPaper};
use spareloop_domain::words::{Day, FarmId};

use super::form::{Form, Posted};
use super::layout::{Answer, Page, see_other};
use super::say;
use super::session::{Signed, sign_in_for};
use crate::acts::on_paper;
use crate::auth::caller::Coordinator;
use crate::error::ServerError;
use crate::idempotency::Key;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(open).service(make).service(act).service(end);
}

#[derive(Template)]
#[template(path = "on_paper.html")]
struct OnPaperPage<'a> {
    page: Page,
    form: &'a Form,
    farms: Vec<FarmOnPaperView>,
    end_keys: Vec<String>,
}

#[get("/network/on-paper")]
async fn open(signed: Signed<Coordinator>) -> Answer {
    let house = &signed.visitor.house;
    let form = Form::new(house)?.with_ids(house, &["farm"])?.or("consent_on", house.today()?);
    show(&signed, &form).await
}

#[post("/network/on-paper")]
async fn make(signed: Signed<Coordinator>, posted: Posted) -> Answer {
    let mut form = posted.0;
    let (key, farm) = (form.key()?, FarmId::new(form.id("farm")?));
    let Some(consent_on) = form.read::<Day>("consent_on") else {
        return show(&signed, &form).await;
    };
    let request = MakeFarmOnPaper {
        farm,
        name: form.value("farm_name").trim().to_owned(),
        consent_by: form.value("consent_by").trim().to_owned(),
        consent_how: form.value("consent_how").trim().to_owned(),
        consent_on,
    };
    match on_paper::make(&signed.visitor.house, signed.caller, &key, request).await {
        Ok(_) => Ok(see_other("/network/on-paper?done=on-paper")),
        Err(error) => {
            form.take(error)?;
            show(&signed, &form).await
        }
    }
}

fn farm_id(text: &str) -> Result<FarmId, ServerError> {
    text.parse().map_err(|_| ServerError::not_found())
}

/// The cookie changes with it, so that a form of before can't act for another farm.
#[post("/network/on-paper/{farm}/act")]
async fn act(signed: Signed<Coordinator>, id: Path<String>, _posted: Posted) -> Answer {
    let farm = farm_id(&id)?;
    sign_in_for(&signed.visitor.house, signed.caller.person, Some(farm), "/?done=acting").await
}

#[post("/network/on-paper/{farm}/end")]
async fn end(signed: Signed<Coordinator>, id: Path<String>, posted: Posted) -> Answer {
    let (farm, form) = (farm_id(&id)?, posted.0);
    let (key, why) = (Key::parse(form.value("end_key"))?, String::new());
    on_paper::end(&signed.visitor.house, signed.caller, &key, farm, Reason { why }).await?;
    Ok(see_other("/network/on-paper?done=consent-ended"))
}

async fn show(signed: &Signed<Coordinator>, form: &Form) -> Answer {
    let farms = on_paper::list(&signed.visitor.house, signed.caller).await?;
    let end_keys = farms.iter().map(|one| format!("end-consent-{}", one.farm.id)).collect();
    let page = signed.visitor.form_page("Farms on paper", form);
    signed.visitor.show_form(form, &OnPaperPage { page, form, farms, end_keys })
}
