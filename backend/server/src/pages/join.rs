//! Joining a network with the code of an invitation.

use actix_web::web::ServiceConfig;
use actix_web::{HttpRequest, get, post};
use askama::Template;
use spareloop_api::people::Join;

use super::form::{Form, Posted};
use super::layout::{Answer, Page};
use super::session::{self, Visitor};
use crate::acts::people;
use crate::routes::CallerAddress;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(open).service(send);
}

#[derive(Template)]
#[template(path = "join.html")]
struct JoinPage<'a> {
    page: Page,
    form: &'a Form,
}

#[get("/join")]
async fn open(visitor: Visitor, request: HttpRequest) -> Answer {
    let form = Form::from_query(&request).with_ids(&visitor.house, &[])?;
    show(&visitor, &form)
}

#[post("/join")]
async fn send(visitor: Visitor, address: CallerAddress, posted: Posted) -> Answer {
    let mut form = posted.0;
    let key = form.key()?;
    let request = Join {
        code: form.secret("code"),
        login: form.value("login").to_owned(),
        display_name: form.value("display_name").to_owned(),
        password: form.secret("password"),
        farm: None,
        farm_name: form.value("farm_name").to_owned(),
    };
    match people::join_person(&visitor.house, &key, request, address.0).await {
        Ok(person) => session::sign_in(&visitor.house, person, "/?done=joined").await,
        Err(error) => {
            form.take(error)?;
            show(&visitor, &form)
        }
    }
}

fn show(visitor: &Visitor, form: &Form) -> Answer {
    let page = visitor.form_page("Join a network", form);
    visitor.show_form(form, &JoinPage { page, form })
}
