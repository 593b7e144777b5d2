//! A farm on paper by browser: noted with its consent, acted for, left alone once it says so.

use serde_json::json;
use spareloop_api::people::{FarmOnPaperView, Me, Tokens};
use spareloop_api::problem::ProblemCode;

use crate::browser::Browser;
use crate::exchange::Pair;
use crate::yard::{Call, PASSWORD, new_id};

#[actix_web::test]
async fn a_coordinator_acts_for_a_farm_on_paper_by_browser_and_only_as_long_as_it_consents() {
    let pair = Pair::new().await;
    let yard = &pair.yard;
    let mut clara = Browser::signed_in(yard, "clara").await;
    let page = clara.open(yard, "/network").await;
    let page = clara.open(yard, &page.link("/network/on-paper")).await;
    let typed = [("farm_name", "Invented Fen End"), ("consent_by", "Ada Fen")];
    let page = clara.send(yard, &page, "/network/on-paper", &typed).await;
    page.must_say("It must be noted who consented");
    let how = [("consent_how", "a signed note")];
    let page = clara.send(yard, &page, "/network/on-paper", &how).await;
    page.must_say("Invented Fen End (on paper)").must_say("Ada Fen, a signed note");
    let before = clara.clone();
    let act = page.link_of_form("/act");
    let page = clara.send(yard, &page, &act, &[]).await;
    page.must_say("You act for this farm now").must_say("Invented Fen End (on paper)");
    // The farm's grower and nothing more: what it wants is its own.
    let refused = clara.open(yard, "/network").await;
    assert_eq!(refused.status.as_u16(), 403);
    let page = clara.open(yard, "/wants/new").await;
    let typed = [("variety", "Ember Lantern"), ("unit", "division"), ("count", "3")];
    let page = clara.send(yard, &page, "/wants/new", &typed).await;
    page.must_say("The network can see now what you lack.");
    let mut emil = Browser::signed_in(yard, "emil").await;
    emil.open(yard, "/sheet").await.must_say("Invented Fen End (on paper)");

    let mut other = before;
    let page = other.open(yard, "/network/on-paper").await;
    page.must_say("once");
    let end = page.link_of_form("/end");
    other.send(yard, &page, &end, &[]).await.must_say("Nobody acts for that farm any more.");
    let page = clara.open(yard, "/").await;
    assert!(page.address.starts_with("/sign-in"), "{}", page.address);
}

#[actix_web::test]
async fn a_sign_in_is_for_one_farm_on_paper_and_ends_with_its_consent() {
    let pair = Pair::new().await;
    let yard = &pair.yard;
    let farm = new_id();
    let body = json!({"farm": farm, "name": "Invented Fen End", "consent_by": "Ada Fen",
        "consent_how": "at the meeting", "consent_on": "2027-02-01"});
    let call = Call::post("/farms-on-paper", &body).once().by(pair.clara.token());
    let made: FarmOnPaperView = yard.send(call).await.ok();
    assert_eq!(made.farm.id.uuid(), farm);
    let sign_in = |login: &str, farm: uuid::Uuid| {
        let body = json!({"login": login, "password": PASSWORD, "acting_for": farm});
        Call::post("/sign-in", &body)
    };
    let tokens: Tokens = yard.send(sign_in("clara", farm)).await.ok();
    let token = tokens.access_token.0.as_str();
    let me: Me = yard.send(Call::get("/me").by(token)).await.ok();
    assert_eq!(me.farm.unwrap().name, "Invented Fen End (on paper)");
    let coordinators = yard.send(Call::get("/invitations").by(token)).await;
    assert_eq!(coordinators.problem().code, ProblemCode::NotAllowed);
    let for_dora = yard.send(sign_in("clara", pair.giver.id().uuid())).await;
    assert_eq!(for_dora.status.as_u16(), 404, "{}", for_dora.text());
    let by_emil = yard.send(sign_in("emil", farm)).await;
    assert_eq!(by_emil.problem().code, ProblemCode::NotAllowed);

    let end = format!("/farms-on-paper/{farm}/end");
    let call = Call::post(&end, &json!({"why": "moved away"})).once().by(pair.clara.token());
    let left: Vec<FarmOnPaperView> = yard.send(call).await.ok();
    assert!(left[0].ended_at.is_some());
    let gone = yard.send(Call::get("/me").by(token)).await;
    assert_eq!(gone.status.as_u16(), 401);
}
