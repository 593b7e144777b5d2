//! Holds: all of the farm's, one with its life, and releasing one.

use actix_web::web::{Path, Query, ServiceConfig};
use actix_web::{get, post};
use askama::Template;
use serde::Deserialize;
use spareloop_api::exchange::{HoldView, Reason, TurnView};
use spareloop_api::payments::PaymentView;
use spareloop_domain::exchange::{HoldState, PaymentAct, PaymentState};
use spareloop_domain::words::{FarmId, HoldId};

use super::form::{Form, Posted};
use super::layout::{Answer, Page, see_other};
use super::say::{self, Side};
use super::session::Signed;
use crate::acts::{holds, turns};
use crate::auth::caller::Grower;
use crate::error::ServerError;

/// Most holds on one page.
const MOST: u32 = 100;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(list).service(one).service(ask_release).service(release);
}

#[derive(Template)]
#[template(path = "holds.html")]
struct HoldsPage {
    page: Page,
    farm: FarmId,
    holds: Vec<HoldView>,
    turns: Vec<TurnView>,
    more: Option<HoldId>,
}

#[derive(Template)]
#[template(path = "hold.html")]
struct HoldPage {
    page: Page,
    hold: HoldView,
    farm: FarmId,
    may: Vec<May>,
}

impl HoldPage {
    /// What the farm may do with a payment that is noted.
    fn of_payment(&self, payment: &PaymentView) -> Vec<(PaymentAct, &'static str)> {
        if payment.state != PaymentState::Noted.code() {
            return Vec::new();
        }
        if payment.noted_by == self.farm {
            vec![(PaymentAct::WithdrawByNoter, "Take it back")]
        } else {
            vec![(PaymentAct::ConfirmByOther, "It did"), (PaymentAct::DenyByOther, "It did not")]
        }
    }
}

/// Something that a farm may do with a hold as it stands.
struct May {
    address: &'static str,
    words: &'static str,
    class: &'static str,
}

#[derive(Template)]
#[template(path = "release.html")]
struct ReleasePage<'a> {
    page: Page,
    form: &'a Form,
    hold: &'a HoldView,
    farm: FarmId,
}

#[derive(Deserialize)]
struct Asked {
    after: Option<String>,
}

#[get("/holds")]
async fn list(signed: Signed<Grower>, asked: Query<Asked>) -> Answer {
    let after = asked.after.as_deref().and_then(|after| after.parse().ok());
    let holds = holds::list(&signed.visitor.house, signed.caller, after, MOST).await?;
    let more = holds.last().filter(|_| holds.len() >= MOST as usize).map(|hold| hold.hold);
    let turns = turns::list(&signed.visitor.house, signed.caller).await?;
    let page = signed.visitor.page("Holds");
    signed.visitor.show(&HoldsPage { page, farm: signed.caller.farm, holds, turns, more })
}

#[get("/holds/{hold}")]
async fn one(signed: Signed<Grower>, id: Path<String>) -> Answer {
    let hold = find(&signed, &id).await?;
    let farm = signed.caller.farm;
    let page = signed.visitor.page(&format!("Hold of {}", hold.variety));
    signed.visitor.show(&HoldPage { page, may: may(&hold, farm), hold, farm })
}

/// The hold of an address, if the farm is one of its two.
pub(super) async fn find(signed: &Signed<Grower>, id: &str) -> Result<HoldView, ServerError> {
    let id: HoldId = id.parse().map_err(|_| ServerError::not_found())?;
    holds::one(&signed.visitor.house, signed.caller, id).await
}

fn may(hold: &HoldView, farm: FarmId) -> Vec<May> {
    const AGREE: May = May { address: "agree", words: "Agree", class: "go" };
    const HAND_OVER: May = May { address: "hand-over", words: "Hand over", class: "go" };
    const CONFIRM: May = May { address: "receipt", words: "Confirm", class: "go" };
    const CLAIM: May = May { address: "claim", words: "Something is wrong with it", class: "act" };
    const PARCEL: May = May { address: "parcel", words: "How it travels", class: "act" };
    const MONEY: May = May { address: "payment", words: "Money passed", class: "act" };
    const RELEASE: May = May { address: "release", words: "Release", class: "act" };
    match (hold.state.parse(), say::side(hold, farm)) {
        (Ok(HoldState::Held), Side::Giver) => vec![AGREE, RELEASE],
        (Ok(HoldState::Agreed), Side::Giver) => vec![HAND_OVER, PARCEL, MONEY, RELEASE],
        (Ok(HoldState::Agreed), Side::Taker) => vec![PARCEL, MONEY, RELEASE],
        (Ok(HoldState::Held), Side::Taker) => vec![RELEASE],
        (Ok(HoldState::HandedOver), Side::Taker) => vec![CONFIRM, MONEY],
        (Ok(HoldState::Received), Side::Taker) => vec![CLAIM, MONEY],
        (Ok(HoldState::HandedOver | HoldState::Received), Side::Giver) => vec![MONEY],
        _ => Vec::new(),
    }
}

#[get("/holds/{hold}/release")]
async fn ask_release(signed: Signed<Grower>, id: Path<String>) -> Answer {
    let hold = find(&signed, &id).await?;
    show_release(&signed, &Form::new(&signed.visitor.house)?, &hold)
}

#[post("/holds/{hold}/release")]
async fn release(signed: Signed<Grower>, id: Path<String>, posted: Posted) -> Answer {
    let hold = find(&signed, &id).await?;
    let mut form = posted.0;
    let (key, why) = (form.key()?, form.value("why").trim().to_owned());
    let house = &signed.visitor.house;
    match holds::release(house, signed.caller, &key, hold.hold, Reason { why }).await {
        Ok(_) => Ok(see_other(&format!("/holds/{}?done=released", hold.hold))),
        Err(error) => {
            form.take(error)?;
            show_release(&signed, &form, &hold)
        }
    }
}

fn show_release(signed: &Signed<Grower>, form: &Form, hold: &HoldView) -> Answer {
    let page = signed.visitor.form_page("Release the hold", form);
    let farm = signed.caller.farm;
    signed.visitor.show_form(form, &ReleasePage { page, form, hold, farm })
}
