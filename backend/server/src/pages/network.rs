//! The coordinator's page: make the network, invite farms, withdraw invitations.
//!
//! A code is shown once: it travels from the POST to the page behind it in a cookie that this page
//! alone is sent, and that is taken away in the same answer.

use actix_web::web::{Path, ServiceConfig};
use actix_web::{HttpRequest, get, post};
use askama::Template;
use chrono::{DateTime, Utc};
use spareloop_api::people::{InvitationView, Invite, MakeNetwork};
use spareloop_domain::words::InvitationId;
use spareloop_store::copies::{self, NightlyCopy, State};

use super::form::{Form, Posted};
use super::layout::{Answer, Page, see_other};
use super::once::ShownOnce;
use super::say;
use super::session::Signed;
use crate::acts::people;
use crate::auth::caller::Coordinator;
use crate::error::ServerError;

const HERE: &str = "/network";
const CODE: ShownOnce = ShownOnce { name: "spareloop-code", page: HERE };

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(open).service(make).service(invite).service(withdraw);
}

#[derive(Template)]
#[template(path = "network_make.html")]
struct MakePage<'a> {
    page: Page,
    form: &'a Form,
}

#[derive(Template)]
#[template(path = "network.html")]
struct NetworkPage<'a> {
    page: Page,
    form: &'a Form,
    code: Option<NewCode>,
    invitations: Vec<InvitationView>,
    last_copy: Option<NightlyCopy>,
    now: DateTime<Utc>,
}

/// A code that was just made.
struct NewCode {
    code: String,
    link: String,
}

#[get("/network")]
async fn open(signed: Signed<Coordinator>, request: HttpRequest) -> Answer {
    let form = Form::new(&signed.visitor.house)?;
    let code = CODE.read(&request);
    show(&signed, &form, code).await
}

#[post("/network")]
async fn make(signed: Signed<Coordinator>, posted: Posted) -> Answer {
    let mut form = posted.0;
    let key = form.key()?;
    let request = MakeNetwork { name: form.value("name").to_owned() };
    match people::make_network(&signed.visitor.house, signed.caller, &key, request).await {
        Ok(_) => Ok(see_other("/network?done=network")),
        Err(error) => {
            form.take(error)?;
            show(&signed, &form, None).await
        }
    }
}

#[post("/network/invitations")]
async fn invite(signed: Signed<Coordinator>, posted: Posted) -> Answer {
    let mut form = posted.0;
    let key = form.key()?;
    let request = Invite { for_whom: form.value("for_whom").to_owned() };
    match people::invite(&signed.visitor.house, signed.caller, &key, request).await {
        Ok(made) => {
            let mut answer = see_other(HERE);
            CODE.send(&mut answer, &signed.visitor, made.code.0)?;
            Ok(answer)
        }
        Err(error) => {
            form.take(error)?;
            show(&signed, &form, None).await
        }
    }
}

#[post("/network/invitations/{invitation}/withdraw")]
async fn withdraw(signed: Signed<Coordinator>, id: Path<String>, _posted: Posted) -> Answer {
    let id: InvitationId = id.parse().map_err(|_| ServerError::not_found())?;
    people::withdraw_invitation(&signed.visitor.house, signed.caller, id).await?;
    Ok(see_other("/network?done=withdrawn-invitation"))
}

async fn show(signed: &Signed<Coordinator>, form: &Form, code: Option<String>) -> Answer {
    let visitor = &signed.visitor;
    if signed.caller.network.is_none() {
        let page = visitor.form_page("Make the network", form);
        return visitor.show_form(form, &MakePage { page, form });
    }
    let invitations = people::invitations(&visitor.house, signed.caller).await?;
    let last_copy = visitor.house.read(copies::last).await?;
    let page = visitor.form_page("Network", form);
    let shown_code = code.is_some();
    let code = code.map(|code| NewCode {
        link: format!("{}/join?{}", visitor.house.reached.url, super::form::encode("code", &code)),
        code,
    });
    let mut answer = visitor.show_form(
        form,
        &NetworkPage { page, form, code, invitations, last_copy, now: visitor.house.now() },
    )?;
    if shown_code {
        CODE.forget(&mut answer, visitor)?;
    }
    Ok(answer)
}

impl NetworkPage<'_> {
    /// How the last nightly copy went, where the server makes any.
    fn copy(&self) -> Option<Result<String, String>> {
        let copy = self.last_copy.as_ref()?;
        let (day, when) = (say::day(&copy.day), say::moment(&copy.since));
        Some(match copy.state {
            State::Done => {
                Ok(format!("The copy for {day} was made and read through: {}.", copy.said))
            }
            State::UnderWay => Ok(format!("The copy for {day} is being made since {when}.")),
            State::Failed => Err(format!(
                "The copy for {day} failed at {when}: {}. Copies from before are kept, and it is tried \
                 again by itself. Tell the one who runs the server; its log says more.",
                copy.said
            )),
        })
    }

    /// How an invitation stands.
    fn state(&self, invitation: &InvitationView) -> String {
        match &invitation.used_at {
            Some(at) => format!("used on {}", say::moment(at)),
            None if invitation.expires_at <= self.now => "too old to work".to_owned(),
            None => format!("works until {}", say::moment(&invitation.expires_at)),
        }
    }
}
