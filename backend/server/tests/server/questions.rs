//! Own need or a provisional promise, by browser; and the coordinator's rule of cuts.

use serde_json::json;
use spareloop_api::exchange::{HoldView, OfferView};
use spareloop_api::problem::ProblemCode;
use spareloop_api::questions::{CutRuleView, QuestionView};

use crate::browser::Browser;
use crate::exchange::Pair;
use crate::yard::{Call, new_id};

/// Of dora's six, five are held by emil and she plans two; then one is lost. Answers the question's id.
pub(crate) async fn asked(pair: &mut Pair) -> String {
    let lot = pair.giver.stores(&pair.yard, "Fern Bell", 6).await;
    let offer = json!({"offer": new_id(), "lot": lot, "count": 5, "smallest_parcel": 1});
    let offer: OfferView = pair.act(&pair.giver, "/offers", &offer).await.ok();
    let hold = json!({"hold": new_id(), "count": 5, "purpose": "gift"});
    let path = format!("/offers/{}/holds", offer.offer);
    let _: HoldView = pair.act(&pair.taker, &path, &hold).await.ok();
    pair.giver.loses(&pair.yard, lot, 6, 1).await;
    let call = Call::get("/questions").by(pair.giver.token());
    let found: Vec<QuestionView> = pair.yard.send(call).await.ok();
    assert_eq!((found.len(), found[0].about.get()), (1, 2), "{found:?}");
    found[0].question.to_string()
}

#[actix_web::test]
async fn a_giver_is_asked_by_its_start_page_and_answers_there() {
    let mut pair = Pair::new().await;
    let id = asked(&mut pair).await;
    let yard = &pair.yard;
    let mut dora = Browser::signed_in(yard, "dora").await;
    let page = dora.open(yard, "/").await;
    page.must_say("which yields for 2 of Fern Bell, your own need or the promise");
    let page = dora.open(yard, &page.link(&format!("/questions/{id}"))).await;
    page.must_say("you plan 2 yourself, and 5 are held by others").must_say("the promise stands");
    let address = page.address.clone();
    let page = dora.send(yard, &page, &address, &[]).await;
    assert_eq!(page.status.as_u16(), 422, "something must be chosen");
    let page = dora.send(yard, &page, &address, &[("yields", "keep-need")]).await;
    page.must_say("Answered. Whoever holds of that lot was told.");
    let page = dora.open(yard, &address).await;
    page.must_say("Nothing is asked any more: answered: own need comes first");
    let path = format!("/questions/{id}/answer");
    let again = pair.act(&pair.giver, &path, &json!({"answer": "keep-promise"})).await;
    assert_eq!(again.problem().code, ProblemCode::NotInThatState);

    let mut emil = Browser::signed_in(yard, "emil").await;
    emil.open(yard, "/").await.must_say("3 remain held in its place");
}

#[actix_web::test]
async fn the_coordinator_sets_which_holds_are_cut_and_a_grower_only_reads_it() {
    let pair = Pair::new().await;
    let yard = &pair.yard;
    let mut clara = Browser::signed_in(yard, "clara").await;
    let page = clara.open(yard, "/network").await;
    let page = clara.open(yard, &page.link("/network/cut-rule")).await;
    let address = page.address.clone();
    let page = clara.send(yard, &page, &address, &[("cut_rule", "by-shares")]).await;
    page.must_say("The rule is set, and every farm was told.");
    let read: CutRuleView = yard.send(Call::get("/cut-rule").by(pair.taker.token())).await.ok();
    assert_eq!(read.rule.code(), "by-shares");
    let set = pair.act(&pair.taker, "/cut-rule", &json!({"rule": "newest-first"})).await;
    assert_eq!(set.status.as_u16(), 403, "{}", set.text());
}
