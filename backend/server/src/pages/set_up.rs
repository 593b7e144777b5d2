//! Set-up: the one-time link makes the first coordinator.

use actix_web::web::ServiceConfig;
use actix_web::{HttpRequest, get, post};
use askama::Template;
use spareloop_api::people::SetUp;

use super::form::{Form, Posted};
use super::layout::{Answer, Page};
use super::session::{self, Visitor};
use crate::acts::people;
use crate::routes::CallerAddress;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(open).service(send);
}

#[derive(Template)]
#[template(path = "set_up.html")]
struct SetUpPage<'a> {
    page: Page,
    form: &'a Form,
}

#[get("/set-up")]
async fn open(visitor: Visitor, request: HttpRequest) -> Answer {
    show(&visitor, &Form::from_query(&request))
}

#[post("/set-up")]
async fn send(visitor: Visitor, address: CallerAddress, posted: Posted) -> Answer {
    let mut form = posted.0;
    let request = SetUp {
        token: form.secret("token"),
        login: form.value("login").to_owned(),
        display_name: form.value("display_name").to_owned(),
        password: form.secret("password"),
    };
    match people::set_up_person(&visitor.house, request, address.0).await {
        Ok(person) => session::sign_in(&visitor.house, person, "/network?done=set-up").await,
        Err(error) => {
            form.take(error)?;
            show(&visitor, &form)
        }
    }
}

fn show(visitor: &Visitor, form: &Form) -> Answer {
    let page = visitor.form_page("Set this server up", form);
    visitor.show_form(form, &SetUpPage { page, form })
}
