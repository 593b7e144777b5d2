//! A parcel by browser: terms proposed and agreed, packed, paused, sent, and how it came.

use serde_json::json;
use spareloop_api::exchange::{HoldView, OwedBook};
use spareloop_api::problem::ProblemCode;

use crate::browser::Browser;
use crate::exchange::Pair;
use crate::yard::{Call, PASSWORD, Yard, new_id};

#[actix_web::test]
async fn two_farms_agree_how_it_travels_and_the_taker_says_that_it_came_frozen() {
    let pair = Pair::new().await;
    let yard = &pair.yard;
    let offer = pair.offer(10).await;
    let body = json!({"hold": new_id(), "count": 6, "purpose": "swap", "unit_value_tenths": 10});
    let hold: HoldView =
        pair.act(&pair.taker, &format!("/offers/{}/holds", offer.offer), &body).await.ok();
    let api = format!("/holds/{}", hold.hold);
    let _: HoldView = pair.act(&pair.giver, &format!("{api}/agree"), &json!({})).await.ok();

    let (mut dora, mut emil) =
        (Browser::signed_in(yard, "dora").await, Browser::signed_in(yard, "emil").await);
    let parcel = format!("{api}/parcel");
    let page = emil.open(yard, &api).await;
    let page = emil.open(yard, &page.link(&parcel)).await;
    let typed = [("post", "halves"), ("frost", "taker"), ("not_before", "2027-02-03")];
    let page = emil.send(yard, &page, &parcel, &typed).await;
    page.must_say("Proposed. The other farm is asked").must_say("both, half each");
    assert!(!page.says("Agree to this"), "one's own terms are the other farm's to agree to");
    let page = dora.open(yard, &parcel).await;
    let page = dora.send(yard, &page, &format!("{parcel}/agree"), &[]).await;
    page.must_say("Agreed: it can be packed");
    let page = dora.send(yard, &page, &format!("{parcel}/pack"), &[]).await;
    page.must_say("Packed. Handing it over sends it");

    let given = json!({"hand_over": new_id(), "given": 6, "on": "2027-02-01"});
    let early = pair.act(&pair.giver, &format!("{api}/hand-over"), &given).await;
    assert_eq!(early.code(), ProblemCode::Refused);
    assert!(early.problem().detail.contains("not to leave before 2027-02-03"), "{}", early.text());
    yard.wait(chrono::TimeDelta::days(2));
    let mut emil = Browser::signed_in(yard, "emil").await;
    let page = emil.open(yard, &format!("{parcel}/pause")).await;
    let typed = [("paused_until", "2027-02-04"), ("why", "hard frost")];
    let page = emil.send(yard, &page, &format!("{parcel}/pause"), &typed).await;
    page.must_say("Paused until").must_say("hard frost");
    let page = emil.open(yard, &format!("{parcel}/pause")).await;
    emil.send(yard, &page, &format!("{parcel}/pause"), &[("why", "")]).await.must_say("packed");

    let mut dora = Browser::signed_in(yard, "dora").await;
    let page = dora.open(yard, &format!("{api}/hand-over?step=check&given=6&on=2027-02-03")).await;
    let page = dora.send(yard, &page, &format!("{api}/hand-over"), &[]).await;
    page.must_say("Handed over").must_say("sent; the post is paid by both");
    let asked = format!("{api}/receipt?step=check&arrival=frozen&received=2&on=2027-02-03");
    let page = emil.open(yard, &asked).await;
    page.must_say("it came frozen").must_say("You will owe");
    let page = emil.send(yard, &page, &format!("{api}/receipt"), &[]).await;
    page.must_say("frozen on the way");
    let book: OwedBook =
        yard.send(Call::get("/owed").by(&signed_token(yard, "dora").await)).await.ok();
    let giver = book.balances.iter().find(|one| one.farm.id == pair.giver.id()).unwrap();
    assert_eq!(giver.owed_tenths, 60, "the taker bears freezing, so what was given is owed for");
}

async fn signed_token(yard: &Yard, login: &str) -> String {
    let body = json!({"login": login, "password": PASSWORD});
    let tokens: spareloop_api::people::Tokens = yard.send(Call::post("/sign-in", &body)).await.ok();
    tokens.access_token.0
}
