//! A farm's limit in the owed book, as the coordinator sets it.

use actix_web::web::{Path, ServiceConfig};
use actix_web::{get, post};
use askama::Template;
use spareloop_api::exchange::Balance;
use spareloop_api::rounds::SetLimit;
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::words::FarmId;

use super::form::{Form, Posted};
use super::layout::{Answer, Page, see_other};
use super::say;
use super::session::Signed;
use crate::acts::{exchange, rounds};
use crate::auth::caller::Coordinator;
use crate::error::ServerError;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(open).service(set);
}

#[derive(Template)]
#[template(path = "limit.html")]
struct LimitPage<'a> {
    page: Page,
    form: &'a Form,
    balance: &'a Balance,
}

async fn find(signed: &Signed<Coordinator>, id: &str) -> Result<Balance, ServerError> {
    let id: FarmId = id.parse().map_err(|_| ServerError::not_found())?;
    let member = rounds::member_of(signed.caller)?;
    let book = exchange::owed(&signed.visitor.house, member).await?;
    book.balances.into_iter().find(|one| one.farm.id == id).ok_or_else(ServerError::not_found)
}

#[get("/owed/{farm}/limit")]
async fn open(signed: Signed<Coordinator>, id: Path<String>) -> Answer {
    let balance = find(&signed, &id).await?;
    let form = Form::new(&signed.visitor.house)?;
    let form = match balance.limit_tenths {
        Some(tenths) => form.or("limit", Tenths(tenths)),
        None => form,
    };
    show(&signed, &form, &balance)
}

#[post("/owed/{farm}/limit")]
async fn set(signed: Signed<Coordinator>, id: Path<String>, posted: Posted) -> Answer {
    let balance = find(&signed, &id).await?;
    let mut form = posted.0;
    let key = form.key()?;
    let limit_tenths = if form.value("limit").trim().is_empty() {
        None
    } else {
        match form.read_tenths("limit") {
            Some(tenths) => Some(tenths),
            None => return show(&signed, &form, &balance),
        }
    };
    let request = SetLimit { limit_tenths };
    let house = &signed.visitor.house;
    match rounds::set_limit(house, signed.caller, &key, balance.farm.id, request).await {
        Ok(_) => Ok(see_other("/owed?done=limit")),
        Err(error) => {
            form.take(error)?;
            show(&signed, &form, &balance)
        }
    }
}

impl LimitPage<'_> {
    /// How the farm stands, and how it will.
    fn standing(&self) -> String {
        let stands = say::balance(self.balance.owed_tenths);
        if self.balance.promised_tenths == 0 {
            return stands;
        }
        let ends = self.balance.owed_tenths.saturating_add(self.balance.promised_tenths);
        format!("{stands}, and {} once all that is promised has passed", say::balance(ends))
    }
}

fn show(signed: &Signed<Coordinator>, form: &Form, balance: &Balance) -> Answer {
    let page = signed.visitor.form_page(&format!("Limit of {}", balance.farm.name), form);
    signed.visitor.show_form(form, &LimitPage { page, form, balance })
}
