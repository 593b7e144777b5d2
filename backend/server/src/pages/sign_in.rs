//! Signing in and out.

use actix_web::web::ServiceConfig;
use actix_web::{HttpRequest, get, post};
use askama::Template;

use super::form::{Form, Posted};
use super::layout::{Answer, Page};
use super::session::{self, Visitor};
use crate::acts::sign_in;
use crate::routes::CallerAddress;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(open).service(send).service(sign_out);
}

#[derive(Template)]
#[template(path = "sign_in.html")]
struct SignInPage<'a> {
    page: Page,
    form: &'a Form,
}

#[get("/sign-in")]
async fn open(visitor: Visitor, request: HttpRequest) -> Answer {
    show(&visitor, &Form::from_query(&request))
}

#[post("/sign-in")]
async fn send(visitor: Visitor, address: CallerAddress, posted: Posted) -> Answer {
    let mut form = posted.0;
    let (login, password) = (form.value("login").to_owned(), form.secret("password"));
    match sign_in::check_password(&visitor.house, &login, password, address.0).await {
        Ok(person) => session::sign_in(&visitor.house, person, ours(form.value("next"))).await,
        Err(error) => {
            form.take(error)?;
            show(&visitor, &form)
        }
    }
}

#[post("/sign-out")]
async fn sign_out(visitor: Visitor, _posted: Posted) -> Answer {
    visitor.sign_out().await
}

fn show(visitor: &Visitor, form: &Form) -> Answer {
    let page = visitor.form_page("Sign in", form);
    visitor.show_form(form, &SignInPage { page, form })
}

/// An address of our own to go on to. A link can ask for any; only a path of this server is taken.
fn ours(next: &str) -> &str {
    let plain = next.bytes().all(|byte| byte.is_ascii_graphic() && byte != b'\\');
    if next.starts_with('/') && !next.starts_with("//") && plain { next } else { "/" }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sign_in_leads_on_to_our_own_pages_only() {
        assert_eq!(ours("/holds/1?done=asked"), "/holds/1?done=asked");
        for foreign in
            ["https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere", "", "/a\r\nb"]
        {
            assert_eq!(ours(foreign), "/", "{foreign:?}");
        }
    }
}
