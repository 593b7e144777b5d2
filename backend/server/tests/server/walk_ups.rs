//! Handing over on the spot, by browser; and what is brought to a swap day, by the interface.

use serde_json::json;
use spareloop_api::problem::ProblemCode;

use crate::browser::Browser;
use crate::exchange::Pair;
use crate::yard::new_id;

#[actix_web::test]
async fn a_giver_hands_over_on_the_spot_by_browser_and_the_taker_confirms_it() {
    let pair = Pair::new().await;
    let yard = &pair.yard;
    let offer = pair.offer(10).await;
    let mut dora = Browser::signed_in(yard, "dora").await;
    let page = dora.open(yard, &format!("/offers/{}", offer.offer)).await;
    let page = dora.open(yard, &page.link(&format!("/offers/{}/pass", offer.offer))).await;
    page.must_say("nothing is owed before");
    let address = page.address.clone();
    let emil = pair.taker.id().to_string();
    let typed = [("farm", emil.as_str()), ("count", "1"), ("on", "2027-02-01")];
    let page = dora.send(yard, &page, &address, &typed).await;
    assert_eq!(page.status.as_u16(), 422, "fewer than the least that is sent");
    let page = dora.send(yard, &page, &address, &[("count", "4")]).await;
    page.must_say("Handed over. The stock book has it as sent.").must_say("on the spot");
    let hold = page.address.split('?').next().unwrap().to_owned();
    let mut taker = Browser::signed_in(yard, "emil").await;
    taker.open(yard, "/").await.must_say("Confirm");
    let page = taker.open(yard, &hold).await;
    page.must_say("handed over");
    // Not the taker's to give.
    let there = taker.open(yard, &address).await;
    assert_eq!(there.status.as_u16(), 404);
}

#[actix_web::test]
async fn nothing_is_brought_to_a_swap_day_that_is_not_there() {
    let pair = Pair::new().await;
    let body = json!({"offer": new_id(), "lot": new_id(), "variety": "Wren Candle",
        "unit": "division", "count": 5});
    let path = format!("/proposals/{}/walk-ups", new_id());
    let missing = pair.act(&pair.giver, &path, &body).await;
    assert_eq!(missing.problem().code, ProblemCode::NotFound);
}
