//! What givers are asked about provisional promises, and by which rule holds are cut.

use spareloop_api::questions::{AnswerQuestion, CutRuleView, QuestionView};
use spareloop_domain::exchange::QuestionAct;
use spareloop_domain::words::QuestionId;
use spareloop_store::cut_rules;
use spareloop_store::questions::{self, Question};

use super::refused;
use super::rounds::network_of;
use crate::auth::caller::{Coordinator, Grower, Member};
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::Key;

fn view(question: Question) -> QuestionView {
    QuestionView {
        question: question.id,
        lot: question.lot,
        variety: question.variety,
        unit: question.unit,
        about: question.about,
        planned: question.need.planned,
        in_store: question.need.in_store,
        held: question.need.held,
        state: question.state.code().to_owned(),
        asked_at: question.asked_at,
        answer_by: question.answer_by,
    }
}

/// What the farm was asked, newest first.
pub async fn list(house: &House, grower: Grower) -> Result<Vec<QuestionView>, ServerError> {
    let now = house.now();
    let found = house.read(move |tx| questions::questions(tx, grower.farm, now)).await?;
    Ok(found.into_iter().map(view).collect())
}

/// One question.
pub async fn one(
    house: &House,
    grower: Grower,
    id: QuestionId,
) -> Result<QuestionView, ServerError> {
    let now = house.now();
    house.read(move |tx| questions::question(tx, grower.farm, id, now)).await.map(view)
}

/// The giver says which yields.
pub async fn answer(
    house: &House,
    grower: Grower,
    key: &Key,
    id: QuestionId,
    request: AnswerQuestion,
) -> Result<QuestionView, ServerError> {
    let act = key.act(&house.keys, grower.person, "answer question", &(id, &request))?;
    if request.answer == QuestionAct::OvertakeByHouse {
        return Err(refused("answer", "keep-promise or keep-need"));
    }
    let now = house.now();
    house
        .settle(act, move |tx| {
            questions::answer(tx, grower.farm, id, request.answer, now).map(view)
        })
        .await
}

/// The network's rule.
pub async fn cut_rule(house: &House, member: Member) -> Result<CutRuleView, ServerError> {
    let rule = house.read(move |tx| cut_rules::rule(tx, member.network)).await?;
    Ok(CutRuleView { rule })
}

/// The coordinator sets it.
pub async fn set_cut_rule(
    house: &House,
    coordinator: Coordinator,
    key: &Key,
    request: CutRuleView,
) -> Result<CutRuleView, ServerError> {
    let act = key.act(&house.keys, coordinator.person, "set cut rule", &request)?;
    let (by, now) = ((network_of(coordinator)?, coordinator.person), house.now());
    let rule = house.once(act, move |tx| cut_rules::set(tx, by, request.rule, now)).await?;
    Ok(CutRuleView { rule })
}
