//! A sale by browser, its money confirmed by both; and a starter gift.

use serde_json::json;
use spareloop_api::exchange::{HoldView, OfferView};
use spareloop_api::problem::ProblemCode;

use crate::browser::Browser;
use crate::exchange::Pair;
use crate::yard::{Call, new_id};

/// Dora sells emil four at 2.50, agreed; answers the hold.
pub(crate) async fn sold(pair: &Pair) -> HoldView {
    let offer = pair.offer(10).await;
    let body = json!({"hold": new_id(), "count": 4, "purpose": "sale", "unit_price": "2.50 EUR"});
    let path = format!("/offers/{}/holds", offer.offer);
    let hold: HoldView = pair.act(&pair.taker, &path, &body).await.ok();
    pair.act(&pair.giver, &format!("/holds/{}/agree", hold.hold), &json!({})).await.ok()
}

#[actix_web::test]
async fn a_sale_is_asked_for_by_browser_and_its_money_is_noted_by_one_and_confirmed_by_the_other() {
    let pair = Pair::new().await;
    let yard = &pair.yard;
    let offer = pair.offer(10).await;
    let mut emil = Browser::signed_in(yard, "emil").await;
    let page = emil.open(yard, &format!("/offers/{}/ask", offer.offer)).await;
    let address = page.address.clone();
    let typed = [("count", "4"), ("purpose", "sale"), ("price", "2,50")];
    let page = emil.send(yard, &page, &address, &typed).await;
    page.must_say("write it like 2.50 EUR");
    let page = emil.send(yard, &page, &address, &[("price", "2.50 EUR")]).await;
    page.must_say("2.50 EUR each, 10 EUR in all");
    let page = emil.send(yard, &page, &address, &[]).await;
    page.must_say("Asked for: it is held for you");
    let hold = page.address.split('?').next().unwrap().to_owned();

    let mut dora = Browser::signed_in(yard, "dora").await;
    let page = dora.open(yard, &format!("{hold}/agree")).await;
    let address = page.address.clone();
    dora.send(yard, &page, &address, &[]).await.must_say("Agreed. Both farms can see it.");

    let page = emil.open(yard, &hold).await;
    let page = emil.open(yard, &page.link(&format!("{hold}/payment"))).await;
    page.must_say("never through this server");
    let address = page.address.clone();
    let page = emil.send(yard, &page, &address, &[("amount", "10 EUR")]).await;
    page.must_say("on record once the other farm confirms it").must_say("noted by one side");
    let page = dora.open(yard, &hold).await;
    let confirm = page.link_of_form("/confirm");
    let page = dora.send(yard, &page, &confirm, &[]).await;
    page.must_say("confirmed by both");
    // What is on record stays there.
    let seen: HoldView = pair.yard.send(Call::get(&hold).by(pair.giver.token())).await.ok();
    let path = format!("/payments/{}/withdraw", seen.payments[0].payment);
    let again = pair.act(&pair.taker, &path, &json!({})).await;
    assert_eq!(again.problem().code, ProblemCode::NotInThatState);
}

#[actix_web::test]
async fn a_starter_gift_is_offered_by_browser_and_goes_to_a_beginner() {
    let pair = Pair::new().await;
    let yard = &pair.yard;
    let mut dora = Browser::signed_in(yard, "dora").await;
    let page = dora.open(yard, &format!("/offers/new?lot={}", pair.lot)).await;
    let typed = [("count", "5"), ("open_to", "beginners")];
    let page = dora.send(yard, &page, "/offers/new", &typed).await;
    page.must_say("Offered: the network can see it now.").must_say("starter gift");
    let path = page.address.split('?').next().unwrap().to_owned();
    let offer: OfferView = yard.send(Call::get(&path).by(pair.taker.token())).await.ok();
    let body = json!({"hold": new_id(), "count": 2, "purpose": "swap", "unit_value_tenths": 10});
    let swap = pair.act(&pair.taker, &format!("{path}/holds"), &body).await;
    assert!(swap.text().contains("ask for it as a gift"), "{}", swap.text());
    let mut emil = Browser::signed_in(yard, "emil").await;
    let page = emil.open(yard, &format!("{path}/ask")).await;
    page.must_say("Nothing is owed for it");
    let address = page.address.clone();
    let page = emil.send(yard, &page, &address, &[("count", "2")]).await;
    let page = emil.send(yard, &page, &address, &[]).await;
    page.must_say("Asked for").must_say("gift");
    assert_eq!(offer.open_to.code(), "beginners");
}
