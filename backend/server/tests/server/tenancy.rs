//! What is another farm's or another network's looks like what isn't there.

use serde_json::json;
use spareloop_api::exchange::{HoldView, Matches, OfferView};
use spareloop_api::problem::ProblemCode;

use crate::exchange::Pair;
use crate::farm::Farm;
use crate::yard::{Call, new_id};

#[actix_web::test]
async fn a_farm_that_has_no_part_in_a_hold_sees_nothing_there_and_can_do_nothing_to_it() {
    let pair = Pair::new().await;
    let offer = pair.offer(10).await;
    let held: HoldView = pair.ask(&offer, 4).await.ok();
    let frida = Farm::new(&pair.yard, &pair.clara, "frida").await;
    let foreign =
        pair.yard.send(Call::get(&format!("/holds/{}", held.hold)).by(frida.token())).await;
    let missing =
        pair.yard.send(Call::get(&format!("/holds/{}", new_id())).by(frida.token())).await;
    assert_eq!(foreign.code(), ProblemCode::NotFound);
    assert_eq!(foreign.text(), missing.text());
    for act in ["agree", "release"] {
        let answer = pair.act(&frida, &format!("/holds/{}/{act}", held.hold), &json!({})).await;
        assert_eq!(answer.code(), ProblemCode::NotFound, "{act}");
    }
    let body = json!({"hand_over": new_id(), "given": 4, "on": "2027-02-01"});
    let answer = pair.act(&frida, &format!("/holds/{}/hand-over", held.hold), &body).await;
    assert_eq!(answer.code(), ProblemCode::NotFound);
    let holds: Vec<HoldView> = pair.yard.send(Call::get("/holds").by(frida.token())).await.ok();
    assert!(holds.is_empty());
    let still: HoldView = pair
        .yard
        .send(Call::get(&format!("/holds/{}", held.hold)).by(pair.taker.token()))
        .await
        .ok();
    assert_eq!((still.state.as_str(), still.steps.len()), ("held", 1));
}

#[actix_web::test]
async fn another_farms_lot_can_not_be_offered_nor_its_offer_withdrawn_nor_its_device_shut_out() {
    let pair = Pair::new().await;
    let offer = pair.offer(10).await;
    let body = json!({"offer": new_id(), "lot": pair.lot, "count": 4, "smallest_parcel": 1});
    assert_eq!(pair.act(&pair.taker, "/offers", &body).await.code(), ProblemCode::NotFound);
    let path = format!("/offers/{}/withdraw", offer.offer);
    assert_eq!(pair.act(&pair.taker, &path, &json!({})).await.code(), ProblemCode::NotAllowed);
    let path = format!("/devices/{}/shut-out", pair.giver.chain.device);
    assert_eq!(pair.act(&pair.taker, &path, &json!({})).await.code(), ProblemCode::NotFound);
}

#[actix_web::test]
async fn another_networks_offers_are_not_there() {
    let pair = Pair::new().await;
    let offer = pair.offer(10).await;
    let want = pair.want(6).await;
    let stranger = pair.yard.other_network("gus").await;
    let ask = |path: String| Call::get(&path).by(&stranger);
    let foreign = pair.yard.send(ask(format!("/offers/{}", offer.offer))).await;
    let missing = pair.yard.send(ask(format!("/offers/{}", new_id()))).await;
    assert_eq!(foreign.code(), ProblemCode::NotFound);
    assert_eq!(foreign.text(), missing.text());
    let board = pair.yard.send(ask("/board".into())).await;
    for canary in ["Ember Lantern", "Invented farm", "dora", &offer.offer.to_string()] {
        assert!(!board.text().contains(canary), "{canary} in {}", board.text());
    }
    let owed = pair.yard.send(ask("/owed".into())).await;
    assert!(!owed.text().contains("dora"), "{}", owed.text());
    let matches: Matches = pair.yard.send(ask("/matches".into())).await.ok();
    assert!(matches.matches.is_empty());
    let acts = [
        (
            format!("/offers/{}/holds", offer.offer),
            json!({"hold": new_id(), "count": 4, "purpose": "gift"}),
        ),
        (format!("/offers/{}/withdraw", offer.offer), json!({})),
        (format!("/wants/{}/withdraw", want.want), json!({})),
    ];
    for (path, body) in acts {
        let answer = pair.yard.send(Call::post(&path, &body).once().by(&stranger)).await;
        assert_eq!(answer.code(), ProblemCode::NotFound, "{path}");
    }
    let unchanged: OfferView = pair
        .yard
        .send(Call::get(&format!("/offers/{}", offer.offer)).by(pair.taker.token()))
        .await
        .ok();
    assert_eq!(unchanged.free, offer.free);
}
