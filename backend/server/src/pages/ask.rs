//! Asking for a hold: fill in, check, ask.

use actix_web::web::{Path, ServiceConfig};
use actix_web::{HttpRequest, get, post};
use askama::Template;
use spareloop_api::exchange::{AskHold, MatchLine, OfferView};
use spareloop_domain::exchange::{Money, OpenTo};
use spareloop_domain::words::{HoldId, OfferId, Purpose, WantId};

use super::field::Choice;
use super::form::{Form, Posted, Step};
use super::layout::{Answer, Page, see_other};
use super::offers::read_id;
use super::say;
use super::session::Signed;
use crate::acts::{exchange, holds};
use crate::auth::caller::Grower;
use crate::error::ServerError;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(open).service(send);
}

#[derive(Template)]
#[template(path = "ask.html")]
struct AskPage<'a> {
    page: Page,
    form: &'a Form,
    offer: &'a OfferView,
    purposes: &'a [Choice],
    wants: &'a [Choice],
}

#[derive(Template)]
#[template(path = "ask_check.html")]
struct CheckPage<'a> {
    page: Page,
    form: &'a Form,
    offer: &'a OfferView,
    request: &'a AskHold,
    want: Option<String>,
}

#[get("/offers/{offer}/ask")]
async fn open(signed: Signed<Grower>, id: Path<String>, request: HttpRequest) -> Answer {
    let id = read_id(&id)?;
    let house = &signed.visitor.house;
    let offer = exchange::offer(house, signed.caller.into(), id).await?;
    let mut form = Form::from_query(&request).with_ids(house, &["hold"])?;
    if form.step() == Step::Check
        && let Some(request) = read(&mut form)?
    {
        return check(&signed, &form, &offer, &request).await;
    }
    fill(&signed, form, &offer).await
}

#[post("/offers/{offer}/ask")]
async fn send(signed: Signed<Grower>, id: Path<String>, posted: Posted) -> Answer {
    let id = read_id(&id)?;
    let house = &signed.visitor.house;
    let mut form = posted.0;
    let key = form.key()?;
    if let Some(request) = read(&mut form)? {
        match holds::ask(house, signed.caller, &key, id, request).await {
            Ok(hold) => return Ok(see_other(&format!("/holds/{}?done=asked", hold.hold))),
            Err(error) => form.take(error)?,
        }
    }
    let offer = exchange::offer(house, signed.caller.into(), id).await?;
    fill(&signed, form, &offer).await
}

/// What was asked for, as the interface takes it; nothing while something is wrong with it.
fn read(form: &mut Form) -> Result<Option<AskHold>, ServerError> {
    let count = form.read("count");
    let purpose = form.read::<Purpose>("purpose");
    let worth = match purpose {
        Some(Purpose::Gift | Purpose::Sale) => Some(0),
        _ => form.read_tenths("worth"),
    };
    let unit_price = match purpose {
        Some(Purpose::Sale) => form.read::<Money>("price"),
        _ => None,
    };
    let hours = form.read_if_any::<u16>("hours");
    let want = form.read_if_any::<WantId>("want");
    let (Some(count), Some(purpose), Some(unit_value_tenths)) = (count, purpose, worth) else {
        return Ok(None);
    };
    if form.is_wrong() {
        return Ok(None);
    }
    let hold = HoldId::new(form.id("hold")?);
    let note = form.value("note").trim().to_owned();
    Ok(Some(AskHold { hold, count, want, purpose, unit_value_tenths, unit_price, hours, note }))
}

/// A starter gift is asked for as a gift.
const fn usual_purpose(offer: &OfferView) -> Purpose {
    match offer.open_to {
        OpenTo::Everybody => Purpose::Swap,
        OpenTo::Beginners => Purpose::Gift,
    }
}

async fn fill(signed: &Signed<Grower>, form: Form, offer: &OfferView) -> Answer {
    let wants = wants_met(signed, offer.offer).await?;
    let form = if form.is_wrong() {
        form
    } else {
        let first = wants.first().cloned();
        let count = first.as_ref().map_or(offer.free, |line| line.count.min(offer.free));
        form.or("count", count)
            .or("purpose", usual_purpose(offer).code())
            .or("worth", "1.0")
            .or("hours", holds::USUAL_HOURS)
            .or("want", first.map(|line| line.want.to_string()).unwrap_or_default())
    };
    let purposes = [
        Choice::new(Purpose::Swap.code(), "Swap: the owed book takes its worth"),
        Choice::new(Purpose::Gift.code(), "Gift: nothing is owed"),
        Choice::new(Purpose::Sale.code(), "Sale: money passes between the two of you, not here"),
    ];
    let mut choices: Vec<Choice> = wants.iter().map(want_choice).collect();
    if !choices.is_empty() {
        choices.push(Choice::new("", "None of them"));
    }
    let title = format!("Hold {}", say::name(&offer.variety, &offer.identity));
    let page = signed.visitor.form_page(&title, &form);
    signed.visitor.show_form(
        &form,
        &AskPage { page, form: &form, offer, purposes: &purposes, wants: &choices },
    )
}

async fn check(
    signed: &Signed<Grower>,
    form: &Form,
    offer: &OfferView,
    request: &AskHold,
) -> Answer {
    let wants = wants_met(signed, offer.offer).await?;
    let want = wants
        .iter()
        .find(|line| Some(line.want) == request.want)
        .map(|line| want_choice(line).words);
    let page = signed.visitor.page("Check before you ask");
    signed.visitor.show(&CheckPage { page, form, offer, request, want })
}

/// The farm's own wants that this offer meets.
async fn wants_met(signed: &Signed<Grower>, offer: OfferId) -> Result<Vec<MatchLine>, ServerError> {
    let matches = exchange::matches(&signed.visitor.house, signed.caller).await?.matches;
    Ok(matches
        .into_iter()
        .flat_map(|other| other.they_have)
        .filter(|line| line.offer == offer)
        .collect())
}

fn want_choice(line: &MatchLine) -> Choice {
    let words = format!("Up to {} of {}", say::counted(&line.unit, &line.count), line.variety);
    Choice::new(line.want, words)
}
