//! Where the farm roughly is, and how far the others are.

use actix_web::web::ServiceConfig;
use actix_web::{get, post};
use askama::Template;
use spareloop_api::distances::{Degrees, DistancesView, SetWhereabouts};

use super::form::{Form, Posted};
use super::layout::{Answer, Page, see_other};
use super::session::Signed;
use crate::acts::distances;
use crate::auth::caller::Grower;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(look).service(set);
}

#[derive(Template)]
#[template(path = "distances.html")]
struct DistancesPage<'a> {
    page: Page,
    form: &'a Form,
    view: DistancesView,
}

#[get("/distances")]
async fn look(signed: Signed<Grower>) -> Answer {
    show(&signed, Form::new(&signed.visitor.house)?).await
}

#[post("/distances")]
async fn set(signed: Signed<Grower>, posted: Posted) -> Answer {
    let mut form = posted.0;
    let key = form.key()?;
    let nowhere =
        form.value("latitude").trim().is_empty() && form.value("longitude").trim().is_empty();
    let whereabouts = if nowhere {
        None
    } else {
        let (latitude, longitude) = (form.read_degrees("latitude"), form.read_degrees("longitude"));
        let (Some(latitude), Some(longitude)) = (latitude, longitude) else {
            return show(&signed, form).await;
        };
        Some(Degrees { latitude, longitude })
    };
    let request = SetWhereabouts { whereabouts };
    match distances::set(&signed.visitor.house, signed.caller, &key, request).await {
        Ok(_) => Ok(see_other("/distances?done=whereabouts")),
        Err(error) => {
            form.take(error)?;
            show(&signed, form).await
        }
    }
}

async fn show(signed: &Signed<Grower>, form: Form) -> Answer {
    let view = distances::view(&signed.visitor.house, signed.caller).await?;
    let form = match view.whereabouts.filter(|_| !form.is_wrong()) {
        Some(at) => form
            .or("latitude", format!("{:.2}", at.latitude))
            .or("longitude", format!("{:.2}", at.longitude)),
        None => form,
    };
    let page = signed.visitor.form_page("Distances", &form);
    signed.visitor.show_form(&form, &DistancesPage { page, form: &form, view })
}
