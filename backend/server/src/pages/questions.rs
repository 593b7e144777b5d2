//! What the farm is asked about a provisional promise, and, for the coordinator, how holds are cut.

use actix_web::web::{Path, ServiceConfig};
use actix_web::{get, post};
use askama::Template;
use spareloop_api::questions::{AnswerQuestion, CutRuleView, QuestionView};
use spareloop_domain::exchange::cut::CutRule;
use spareloop_domain::exchange::{QuestionAct, QuestionState};
use spareloop_domain::words::QuestionId;

use super::field::Choice;
use super::form::{Form, Posted};
use super::layout::{Answer, Page, see_other};
use super::say;
use super::session::Signed;
use crate::acts::{questions, rounds};
use crate::auth::caller::{Coordinator, Grower};
use crate::error::ServerError;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(open).service(answer).service(cut_rule).service(set_cut_rule);
}

#[derive(Template)]
#[template(path = "question.html")]
struct QuestionPage<'a> {
    page: Page,
    form: &'a Form,
    question: &'a QuestionView,
    answers: Vec<Choice>,
}

#[derive(Template)]
#[template(path = "cut_rule.html")]
struct CutRulePage<'a> {
    page: Page,
    form: &'a Form,
    rules: Vec<Choice>,
}

/// Whether it still waits for an answer.
pub(super) fn is_open(question: &QuestionView) -> bool {
    question.state == QuestionState::Asked.code()
}

impl QuestionPage<'_> {
    /// How it stands, in words.
    fn state(question: &QuestionView) -> String {
        let state = question.state.parse::<QuestionState>();
        state.map_or_else(|_| question.state.clone(), |state| state.to_string())
    }
}

async fn find(signed: &Signed<Grower>, id: &str) -> Result<QuestionView, ServerError> {
    let id: QuestionId = id.parse().map_err(|_| ServerError::not_found())?;
    questions::one(&signed.visitor.house, signed.caller, id).await
}

#[get("/questions/{question}")]
async fn open(signed: Signed<Grower>, id: Path<String>) -> Answer {
    let question = find(&signed, &id).await?;
    show(&signed, &Form::new(&signed.visitor.house)?, &question)
}

#[post("/questions/{question}")]
async fn answer(signed: Signed<Grower>, id: Path<String>, posted: Posted) -> Answer {
    let question = find(&signed, &id).await?;
    let mut form = posted.0;
    let key = form.key()?;
    let Some(act) = form.read::<QuestionAct>("yields") else {
        return show(&signed, &form, &question);
    };
    let (house, request) = (&signed.visitor.house, AnswerQuestion { answer: act });
    match questions::answer(house, signed.caller, &key, question.question, request).await {
        Ok(_) => Ok(see_other("/?done=question")),
        Err(error) => {
            form.take(error)?;
            show(&signed, &form, &question)
        }
    }
}

fn show(signed: &Signed<Grower>, form: &Form, question: &QuestionView) -> Answer {
    let answers = if is_open(question) {
        vec![
            Choice::new(
                QuestionAct::KeepPromiseByGiver.code(),
                "The promise stands, and my own need yields",
            ),
            Choice::new(
                QuestionAct::KeepNeedByGiver.code(),
                "My own need comes first, and the promise yields",
            ),
        ]
    } else {
        Vec::new()
    };
    let page = signed.visitor.form_page("Own need or the promise", form);
    signed.visitor.show_form(form, &QuestionPage { page, form, question, answers })
}

#[get("/network/cut-rule")]
async fn cut_rule(signed: Signed<Coordinator>) -> Answer {
    let house = &signed.visitor.house;
    let set = questions::cut_rule(house, rounds::member_of(signed.caller)?).await?;
    show_rule(&signed, &Form::new(house)?.or("cut_rule", set.rule.code()))
}

#[post("/network/cut-rule")]
async fn set_cut_rule(signed: Signed<Coordinator>, posted: Posted) -> Answer {
    let mut form = posted.0;
    let key = form.key()?;
    let Some(rule) = form.read::<CutRule>("cut_rule") else {
        return show_rule(&signed, &form);
    };
    let house = &signed.visitor.house;
    match questions::set_cut_rule(house, signed.caller, &key, CutRuleView { rule }).await {
        Ok(_) => Ok(see_other("/network?done=cut-rule")),
        Err(error) => {
            form.take(error)?;
            show_rule(&signed, &form)
        }
    }
}

fn show_rule(signed: &Signed<Coordinator>, form: &Form) -> Answer {
    let rules = CutRule::ALL.iter().map(|rule| Choice::new(rule.code(), rule));
    let page = signed.visitor.form_page("Which holds are cut", form);
    signed.visitor.show_form(form, &CutRulePage { page, form, rules: rules.collect() })
}
