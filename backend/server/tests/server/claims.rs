//! Claims by browser: made on what arrived, seen otherwise by the giver, decided by the coordinator.

use serde_json::json;
use spareloop_api::claims::ClaimView;
use spareloop_api::exchange::{HoldView, OwedBook};
use spareloop_api::problem::ProblemCode;

use crate::browser::Browser;
use crate::exchange::Pair;
use crate::yard::{Call, new_id};

/// Six received for a swap at 1.0 each; answers the hold.
async fn received(pair: &Pair) -> HoldView {
    let offer = pair.offer(10).await;
    let body = json!({"hold": new_id(), "count": 6, "purpose": "swap", "unit_value_tenths": 10});
    let path = format!("/offers/{}/holds", offer.offer);
    let hold: HoldView = pair.act(&pair.taker, &path, &body).await.ok();
    pair.received(hold.hold, 6).await
}

async fn owed(pair: &Pair) -> i64 {
    let book: OwedBook = pair.yard.send(Call::get("/owed").by(pair.giver.token())).await.ok();
    let sum: i64 = book.balances.iter().map(|one| one.owed_tenths).sum();
    assert_eq!(sum, 0);
    book.balances.iter().find(|one| one.farm.id == pair.giver.id()).unwrap().owed_tenths
}

#[actix_web::test]
async fn a_claim_is_made_disputed_and_decided_by_browser_and_the_owed_book_follows() {
    let pair = Pair::new().await;
    let yard = &pair.yard;
    let hold = received(&pair).await;
    assert_eq!(owed(&pair).await, 60);
    let mut emil = Browser::signed_in(yard, "emil").await;
    let page = emil.open(yard, &format!("/holds/{}", hold.hold)).await;
    let page = emil.open(yard, &page.link(&format!("/holds/{}/claim", hold.hold))).await;
    page.must_say("bad condition on arrival, until").must_say("Talk to them first");
    let address = page.address.clone();
    let typed = [("claim_kind", "condition"), ("count", "7"), ("words", "soft")];
    let page = emil.send(yard, &page, &address, &typed).await;
    page.must_say("6 arrived, 0 of them are claimed already");
    let typed = [("claim_kind", "condition"), ("count", "3"), ("words", "soft at the crown")];
    let page = emil.send(yard, &page, &address, &typed).await;
    page.must_say("Claimed. The other farm is told").must_say("waiting for the giver");

    let mut dora = Browser::signed_in(yard, "dora").await;
    let page = dora.open(yard, "/claims").await;
    let page = dora.open(yard, &page.link("/claims/")).await;
    page.must_say("soft at the crown");
    let address = page.address.clone();
    let typed = [("claim_answer", "dispute"), ("words", "firm when packed")];
    dora.send(yard, &page, &address, &typed).await.must_say("disputed");
    assert_eq!(owed(&pair).await, 60, "nothing is booked before it is decided");

    let mut clara = Browser::signed_in(yard, "clara").await;
    let page = clara.open(yard, "/claims").await;
    let page = clara.open(yard, &page.link("/claims/")).await;
    page.must_say("firm when packed");
    let address = page.address.clone();
    let typed = [("count", "2"), ("words", "two were soft, both saw it")];
    let page = clara.send(yard, &page, &address, &typed).await;
    page.must_say("Decided, on record").must_say("2 of 3 count");
    assert_eq!(owed(&pair).await, 40);
    let claims: Vec<ClaimView> = yard.send(Call::get("/claims").by(pair.taker.token())).await.ok();
    assert_eq!(
        (claims[0].state.as_str(), claims[0].settled),
        ("decided", Some(crate::farm::count(2)))
    );
    let again = Call::post(&format!("/claims/{}/grant", claims[0].claim), &json!({"why": ""}));
    let again = yard.send(again.once().by(pair.giver.token())).await;
    assert_eq!(again.code(), ProblemCode::NotInThatState);
}
