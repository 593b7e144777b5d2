//! A proposal: what each farm gives and gets, how even it is, and the farm's answer; for the
//! coordinator, the end of a swap day.

use actix_web::web::{Path, ServiceConfig};
use actix_web::{get, post};
use askama::Template;
use spareloop_api::rounds::{ProposalLine, ProposalView, SettleSwapDay, ShareView};
use spareloop_domain::exchange::{Answer as Said, AnswerAct, ProposalState};
use spareloop_domain::words::{FarmId, ProposalId};

use super::form::{Form, Posted};
use super::layout::{Answer, Page, see_other};
use super::say;
use super::session::Signed;
use crate::acts::rounds;
use crate::auth::caller::{Coordinator, Grower, Member};
use crate::error::ServerError;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(look).service(accept).service(decline).service(ask_settle).service(settle);
}

#[derive(Template)]
#[template(path = "proposal.html")]
struct ProposalPage<'a> {
    page: Page,
    form: &'a Form,
    proposal: ProposalView,
    farm: Option<FarmId>,
    may: Vec<May>,
}

/// An answer that a farm may still give.
struct May {
    address: &'static str,
    words: &'static str,
    class: &'static str,
    means: &'static str,
}

#[derive(Template)]
#[template(path = "proposal_settle.html")]
struct SettlePage<'a> {
    page: Page,
    form: &'a Form,
    proposal: &'a ProposalView,
}

fn read_id(text: &str) -> Result<ProposalId, ServerError> {
    text.parse().map_err(|_| ServerError::not_found())
}

#[get("/proposals/{proposal}")]
async fn look(signed: Signed<Member>, id: Path<String>) -> Answer {
    let form = Form::new(&signed.visitor.house)?;
    show(&signed, &form, read_id(&id)?).await
}

async fn show(signed: &Signed<Member>, form: &Form, id: ProposalId) -> Answer {
    let member = signed.caller;
    let proposal = rounds::one_proposal(&signed.visitor.house, member, id).await?;
    let title = match proposal.kind.as_str() {
        "swap-day" => "Swap day".to_owned(),
        _ => format!("Loop of {} farms", proposal.farms.len()),
    };
    let page = signed.visitor.form_page(&title, form);
    let may = may(&proposal, member.farm);
    let shown = ProposalPage { page, form, proposal, farm: member.farm, may };
    signed.visitor.show_form(form, &shown)
}

fn may(proposal: &ProposalView, farm: Option<FarmId>) -> Vec<May> {
    let open = proposal.state.parse() == Ok(ProposalState::Open);
    let part = farm.and_then(|farm| proposal.farms.iter().find(|part| part.farm.id == farm));
    let (true, Some(part)) = (open, part) else { return Vec::new() };
    let loops = proposal.kind == "loop";
    let yes = May {
        address: "accept",
        words: "Accept",
        class: "",
        means: if loops {
            "Once every farm has accepted, all holds are made and agreed at once. Until then nothing binds you."
        } else {
            "You come and bring what is listed. The holds are made when all have answered, or at the date."
        },
    };
    let no = May {
        address: "decline",
        words: "Decline",
        class: "plain",
        means: if loops {
            "No reason is needed. This loop dissolves; no other does, and what was in it goes into the next round."
        } else {
            "No reason is needed. The swap day takes place without your farm."
        },
    };
    match part.answer.parse() {
        Ok(Said::Accepted) => vec![no],
        Ok(Said::Declined) => vec![yes],
        _ => vec![yes, no],
    }
}

#[post("/proposals/{proposal}/accept")]
async fn accept(signed: Signed<Grower>, id: Path<String>, posted: Posted) -> Answer {
    answer(signed, read_id(&id)?, posted.0, AnswerAct::AcceptByPart, "accepted").await
}

#[post("/proposals/{proposal}/decline")]
async fn decline(signed: Signed<Grower>, id: Path<String>, posted: Posted) -> Answer {
    answer(signed, read_id(&id)?, posted.0, AnswerAct::DeclineByPart, "declined").await
}

async fn answer(
    signed: Signed<Grower>,
    id: ProposalId,
    mut form: Form,
    act: AnswerAct,
    done: &str,
) -> Answer {
    let key = form.key()?;
    match rounds::answer(&signed.visitor.house, signed.caller, &key, id, act).await {
        Ok(_) => Ok(see_other(&format!("/proposals/{id}?done={done}"))),
        Err(error) => {
            form.take(error)?;
            let caller = Member::from(signed.caller);
            show(&Signed { visitor: signed.visitor, caller }, &form, id).await
        }
    }
}

#[get("/proposals/{proposal}/settle")]
async fn ask_settle(signed: Signed<Coordinator>, id: Path<String>) -> Answer {
    let form = Form::new(&signed.visitor.house)?;
    show_settle(&signed, &form, read_id(&id)?).await
}

#[post("/proposals/{proposal}/settle")]
async fn settle(signed: Signed<Coordinator>, id: Path<String>, posted: Posted) -> Answer {
    let id = read_id(&id)?;
    let mut form = posted.0;
    let key = form.key()?;
    let proposal = find(&signed, id).await?;
    let absent = proposal
        .farms
        .iter()
        .map(|part| part.farm.id)
        .filter(|farm| form.value(&format!("absent-{farm}")) == "yes")
        .collect();
    let request = SettleSwapDay { absent };
    match rounds::settle(&signed.visitor.house, signed.caller, &key, id, request).await {
        Ok(_) => Ok(see_other(&format!("/proposals/{id}?done=settled"))),
        Err(error) => {
            form.take(error)?;
            show_settle(&signed, &form, id).await
        }
    }
}

async fn find(signed: &Signed<Coordinator>, id: ProposalId) -> Result<ProposalView, ServerError> {
    let member = rounds::member_of(signed.caller)?;
    rounds::one_proposal(&signed.visitor.house, member, id).await
}

async fn show_settle(signed: &Signed<Coordinator>, form: &Form, id: ProposalId) -> Answer {
    let proposal = find(signed, id).await?;
    let page = signed.visitor.form_page("Settle the swap day", form);
    signed.visitor.show_form(form, &SettlePage { page, form, proposal: &proposal })
}

impl ProposalPage<'_> {
    /// What passes between two farms, a list an arc of the loop.
    fn parcels_of(&self) -> Vec<(&str, &str, Vec<&ProposalLine>)> {
        let mut arcs: Vec<(&str, &str, Vec<&ProposalLine>)> = Vec::new();
        for line in &self.proposal.lines {
            let (giver, taker) = (line.giver.name.as_str(), line.taker.name.as_str());
            match arcs.iter_mut().find(|(from, to, _)| (*from, *to) == (giver, taker)) {
                Some((_, _, lines)) => lines.push(line),
                None => arcs.push((giver, taker, vec![line])),
            }
        }
        arcs
    }

    /// What all units of a line are worth.
    fn value_of(line: &ProposalLine) -> String {
        say::value(line.unit_value_tenths.saturating_mul(i64::from(line.count)))
    }

    /// How even it is for a farm, in a sentence.
    fn fairness(share: &ShareView) -> String {
        let (given, got) = (share.given_tenths, share.got_tenths);
        let apart = say::value((given - got).abs());
        match given.cmp(&got) {
            std::cmp::Ordering::Equal => "even".to_owned(),
            std::cmp::Ordering::Greater => format!("gives {apart} more, and is owed it"),
            std::cmp::Ordering::Less => format!("gets {apart} more, and owes it"),
        }
    }
}
