//! Claims on what arrived: all of them, making one, answering, deciding.

use actix_web::web::{Path, ServiceConfig};
use actix_web::{get, post};
use askama::Template;
use spareloop_api::claims::{ClaimView, DecideClaim, MakeClaim};
use spareloop_api::exchange::{HoldView, Reason};
use spareloop_domain::exchange::{ClaimAct, ClaimKind, ClaimState};
use spareloop_domain::words::{ClaimId, Count, Day, FarmId, HandOverId};

use super::field::Choice;
use super::form::{Form, Posted};
use super::holds::find as find_hold;
use super::layout::{Answer, Page, see_other};
use super::say;
use super::session::Signed;
use crate::acts::{claims, rounds};
use crate::auth::caller::{Coordinator, Grower, Member};
use crate::error::ServerError;

pub(super) fn configure(config: &mut ServiceConfig) {
    config
        .service(list)
        .service(ask)
        .service(make)
        .service(ask_answer)
        .service(answer)
        .service(ask_decision)
        .service(decide);
}

#[derive(Template)]
#[template(path = "claims.html")]
struct ClaimsPage {
    page: Page,
    /// The visitor's farm; none for the coordinator.
    farm: Option<FarmId>,
    claims: Vec<ClaimView>,
}

#[derive(Template)]
#[template(path = "claim_make.html")]
struct MakePage<'a> {
    page: Page,
    form: &'a Form,
    hold: &'a HoldView,
    kinds: Vec<Choice>,
}

#[derive(Template)]
#[template(path = "claim_answer.html")]
struct AnswerPage<'a> {
    page: Page,
    form: &'a Form,
    claim: &'a ClaimView,
    answers: Vec<Choice>,
}

#[derive(Template)]
#[template(path = "claim_decide.html")]
struct DecidePage<'a> {
    page: Page,
    form: &'a Form,
    claim: &'a ClaimView,
}

impl ClaimsPage {
    fn state(claim: &ClaimView) -> String {
        claim.state.parse::<ClaimState>().map_or_else(|_| claim.state.clone(), |it| it.to_string())
    }

    /// Where the visitor can do something about a claim, and what.
    fn may(&self, claim: &ClaimView) -> Option<(&'static str, &'static str)> {
        let state: ClaimState = claim.state.parse().ok()?;
        let unsettled = [ClaimState::Open, ClaimState::Disputed].contains(&state);
        match self.farm {
            Some(farm) if unsettled && farm == claim.giver.id => Some(("answer", "Answer")),
            Some(farm) if unsettled && farm == claim.taker.id => Some(("answer", "Take back")),
            None if state == ClaimState::Disputed => Some(("decide", "Decide")),
            _ => None,
        }
    }
}

#[get("/claims")]
async fn list(signed: Signed<Member>) -> Answer {
    let claims = claims::list(&signed.visitor.house, signed.caller).await?;
    let page = signed.visitor.page("Claims");
    signed.visitor.show(&ClaimsPage { page, farm: signed.caller.farm, claims })
}

#[get("/holds/{hold}/claim")]
async fn ask(signed: Signed<Grower>, id: Path<String>) -> Answer {
    let hold = find_hold(&signed, &id).await?;
    let form = Form::new(&signed.visitor.house)?.with_ids(&signed.visitor.house, &["claim"])?;
    show_make(&signed, &form, &hold)
}

#[post("/holds/{hold}/claim")]
async fn make(signed: Signed<Grower>, id: Path<String>, posted: Posted) -> Answer {
    let hold = find_hold(&signed, &id).await?;
    let mut form = posted.0;
    let (key, claim) = (form.key()?, ClaimId::new(form.id("claim")?));
    let hand_over: HandOverId =
        hold.hand_over.as_ref().ok_or_else(ServerError::not_found)?.hand_over;
    let (kind, count) = (form.read::<ClaimKind>("claim_kind"), form.read::<Count>("count"));
    let (Some(kind), Some(count)) = (kind, count) else {
        return show_make(&signed, &form, &hold);
    };
    let words = form.value("words").trim().to_owned();
    let request = MakeClaim { claim, kind, count, words };
    match claims::make(&signed.visitor.house, signed.caller, &key, hand_over, request).await {
        Ok(_) => Ok(see_other("/claims?done=claimed")),
        Err(error) => {
            form.take(error)?;
            show_make(&signed, &form, &hold)
        }
    }
}

fn show_make(signed: &Signed<Grower>, form: &Form, hold: &HoldView) -> Answer {
    let received: Option<Day> = hold.hand_over.as_ref().and_then(|it| it.received_on);
    let choice = |kind: &ClaimKind| {
        let until = received.map(|on| format!(", until {}", say::day(&kind.until(on))));
        Choice::new(kind.code(), format!("{kind}{}", until.unwrap_or_default()))
    };
    let kinds = ClaimKind::ALL.iter().map(choice).collect();
    let page = signed.visitor.form_page("Claim on what arrived", form);
    signed.visitor.show_form(form, &MakePage { page, form, hold, kinds })
}

async fn find(signed: &Signed<Grower>, id: &str) -> Result<ClaimView, ServerError> {
    let id: ClaimId = id.parse().map_err(|_| ServerError::not_found())?;
    claims::one(&signed.visitor.house, signed.caller.into(), id).await
}

#[get("/claims/{claim}/answer")]
async fn ask_answer(signed: Signed<Grower>, id: Path<String>) -> Answer {
    let claim = find(&signed, &id).await?;
    show_answer(&signed, &Form::new(&signed.visitor.house)?, &claim)
}

#[post("/claims/{claim}/answer")]
async fn answer(signed: Signed<Grower>, id: Path<String>, posted: Posted) -> Answer {
    let claim = find(&signed, &id).await?;
    let mut form = posted.0;
    let key = form.key()?;
    let Some(act) = form.read::<ClaimAct>("claim_answer") else {
        return show_answer(&signed, &form, &claim);
    };
    let reason = Reason { why: form.value("words").trim().to_owned() };
    let house = &signed.visitor.house;
    match claims::act(house, signed.caller, &key, claim.claim, (act, reason)).await {
        Ok(_) => Ok(see_other("/claims?done=claim-answered")),
        Err(error) => {
            form.take(error)?;
            show_answer(&signed, &form, &claim)
        }
    }
}

fn show_answer(signed: &Signed<Grower>, form: &Form, claim: &ClaimView) -> Answer {
    let answers = if claim.giver.id == signed.caller.farm {
        vec![
            Choice::new(ClaimAct::GrantByGiver.code(), "I grant it"),
            Choice::new(
                ClaimAct::DisputeByGiver.code(),
                "I see it otherwise: the coordinator decides",
            ),
        ]
    } else {
        vec![Choice::new(ClaimAct::WithdrawByTaker.code(), "I take it back")]
    };
    let page = signed.visitor.form_page("Answer to a claim", form);
    signed.visitor.show_form(form, &AnswerPage { page, form, claim, answers })
}

async fn disputed(signed: &Signed<Coordinator>, id: &str) -> Result<ClaimView, ServerError> {
    let id: ClaimId = id.parse().map_err(|_| ServerError::not_found())?;
    let member = rounds::member_of(signed.caller)?;
    claims::one(&signed.visitor.house, member, id).await
}

#[get("/claims/{claim}/decide")]
async fn ask_decision(signed: Signed<Coordinator>, id: Path<String>) -> Answer {
    let claim = disputed(&signed, &id).await?;
    show_decision(&signed, &Form::new(&signed.visitor.house)?, &claim)
}

#[post("/claims/{claim}/decide")]
async fn decide(signed: Signed<Coordinator>, id: Path<String>, posted: Posted) -> Answer {
    let claim = disputed(&signed, &id).await?;
    let mut form = posted.0;
    let key = form.key()?;
    let Some(count) = form.read::<Count>("count") else {
        return show_decision(&signed, &form, &claim);
    };
    let request = DecideClaim { count, why: form.value("words").trim().to_owned() };
    match claims::decide(&signed.visitor.house, signed.caller, &key, claim.claim, request).await {
        Ok(_) => Ok(see_other("/claims?done=claim-decided")),
        Err(error) => {
            form.take(error)?;
            show_decision(&signed, &form, &claim)
        }
    }
}

fn show_decision(signed: &Signed<Coordinator>, form: &Form, claim: &ClaimView) -> Answer {
    let page = signed.visitor.form_page("Decide a claim", form);
    signed.visitor.show_form(form, &DecidePage { page, form, claim })
}
