//! What givers are asked about provisional promises, and by which rule holds are cut.

use actix_web::web::{Data, Json, Path};
use actix_web::{get, post};
use spareloop_api::questions::{AnswerQuestion, CutRuleView, QuestionView};
use spareloop_domain::words::QuestionId;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::acts::questions;
use crate::auth::caller::{Coordinator, Grower, Member};
use crate::error::ServerError;
use crate::house::House;
use crate::idempotency::{Key, KeyHeader};

pub(super) fn configure(config: &mut ServiceConfig<'_>) {
    config.service(list).service(answer).service(cut_rule).service(set_cut_rule);
}

/// What the farm was asked, newest first: after a loss in a lot whose offer was provisional, which yields,
/// its own need or the promise.
#[utoipa::path(tag = "holds", operation_id = "questions",
    responses((status = 200, description = "The questions", body = [QuestionView])),
    extensions(("x-access" = json!("grower"))))]
#[get("/questions")]
pub(super) async fn list(
    house: Data<House>,
    caller: Grower,
) -> Result<Json<Vec<QuestionView>>, ServerError> {
    questions::list(&house, caller).await.map(Json)
}

/// The giver says which yields.
#[utoipa::path(tag = "holds", operation_id = "answer_question",
    params(("question" = String, Path, format = "uuid", description = "The question"), KeyHeader),
    request_body = AnswerQuestion,
    responses((status = 200, description = "Answered", body = QuestionView)),
    extensions(("x-access" = json!("grower"))))]
#[post("/questions/{question}/answer")]
pub(super) async fn answer(
    house: Data<House>,
    caller: Grower,
    key: Key,
    question: Path<QuestionId>,
    request: Json<AnswerQuestion>,
) -> Result<Json<QuestionView>, ServerError> {
    let (question, request) = (question.into_inner(), request.into_inner());
    questions::answer(&house, caller, &key, question, request).await.map(Json)
}

/// By which rule the network's holds are cut when a loss leaves too few in store.
#[utoipa::path(tag = "holds", operation_id = "cut_rule",
    responses((status = 200, description = "The rule", body = CutRuleView)),
    extensions(("x-access" = json!("person"))))]
#[get("/cut-rule")]
pub(super) async fn cut_rule(
    house: Data<House>,
    caller: Member,
) -> Result<Json<CutRuleView>, ServerError> {
    questions::cut_rule(&house, caller).await.map(Json)
}

/// Sets the rule; every farm of the network is told.
#[utoipa::path(tag = "holds", operation_id = "set_cut_rule", params(KeyHeader),
    request_body = CutRuleView,
    responses((status = 200, description = "Set", body = CutRuleView)),
    extensions(("x-access" = json!("coordinator"))))]
#[post("/cut-rule")]
pub(super) async fn set_cut_rule(
    house: Data<House>,
    caller: Coordinator,
    key: Key,
    request: Json<CutRuleView>,
) -> Result<Json<CutRuleView>, ServerError> {
    questions::set_cut_rule(&house, caller, &key, request.into_inner()).await.map(Json)
}
