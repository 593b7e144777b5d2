//! Regions, the rules between them, and distances by browser: the coordinator sets rules, farms say where
//! they are and are told what to ask.

use crate::browser::Browser;
use crate::exchange::Pair;

#[actix_web::test]
async fn a_coordinator_notes_regions_and_a_rule_and_farms_see_what_to_ask_before_they_hold() {
    let pair = Pair::new().await;
    let yard = &pair.yard;
    let offer = pair.offer(10).await;
    let mut clara = Browser::signed_in(yard, "clara").await;
    clara.open(yard, "/movement").await.must_say("None is set. That says nothing about the law");
    for (farm, region) in [(pair.giver.id(), "North shore"), (pair.taker.id(), "Islands")] {
        let page = clara.open(yard, "/movement/region").await;
        let typed = [("farm", farm.to_string()), ("region", region.to_owned())];
        let typed: Vec<(&str, &str)> =
            typed.iter().map(|(name, it)| (*name, it.as_str())).collect();
        let page = clara.send(yard, &page, "/movement/region", &typed).await;
        page.must_say("Noted, and the farm was told").must_say(region);
    }
    let page = clara.open(yard, "/movement/rule").await;
    let same = [("from", "Islands"), ("to", "islands"), ("passage", "asks")];
    let page = clara.send(yard, &page, "/movement/rule", &same).await;
    page.must_say("A rule is between two regions, and these are one");
    let typed = [
        ("from", "north shore"),
        ("to", "ISLANDS"),
        ("passage", "asks"),
        ("rule_note", "The islands' office knows the form"),
    ];
    let page = clara.send(yard, &page, "/movement/rule", &typed).await;
    page.must_say("The rule is set").must_say("both farms are told to ask");

    let mut emil = Browser::signed_in(yard, "emil").await;
    for page in [format!("/offers/{}", offer.offer), format!("/offers/{}/ask", offer.offer)] {
        let page = emil.open(yard, &page).await;
        page.must_say("From North shore to Islands")
            .must_say("ask your own plant health authority");
        page.must_say("The islands' office knows the form");
    }
    let mut dora = Browser::signed_in(yard, "dora").await;
    let page = dora.open(yard, &format!("/offers/{}", offer.offer)).await;
    assert!(!page.says("From North shore"), "one's own offer goes nowhere yet");
    let held = pair.ask(&offer, 4).await;
    let hold: spareloop_api::exchange::HoldView = held.ok();
    assert!(hold.movement.is_some_and(|said| said.contains("nothing here says so")));
    let page = dora.open(yard, &format!("/holds/{}", hold.hold)).await;
    page.must_say("From North shore to Islands");
}

#[actix_web::test]
async fn a_farm_says_roughly_where_it_is_and_others_are_told_only_how_far_that_is() {
    let pair = Pair::new().await;
    let yard = &pair.yard;
    pair.offer(10).await;
    let mut dora = Browser::signed_in(yard, "dora").await;
    let page = dora.open(yard, "/distances").await;
    page.must_say("not known");
    let wrong = [("latitude", "north"), ("longitude", "200")];
    let page = dora.send(yard, &page, "/distances", &wrong).await;
    page.must_say("is not a number such as 52.4");
    let page =
        dora.send(yard, &page, "/distances", &[("latitude", "52"), ("longitude", "200")]).await;
    page.must_say("a longitude of -180 to 180");
    let there = [("latitude", "52,03"), ("longitude", "-4.01")];
    let page = dora.send(yard, &page, "/distances", &there).await;
    page.must_say("Other farms are told distances only");
    assert!(
        page.html.contains("value=\"52.05\""),
        "kept to a twentieth of a degree: {}",
        page.html
    );

    let mut emil = Browser::signed_in(yard, "emil").await;
    let page = emil.open(yard, "/wants/new").await;
    let typed =
        [("variety", "Ember Lantern"), ("count", "4"), ("unit", "division"), ("within_km", "60")];
    let page = emil.send(yard, &page, "/wants/new", &typed).await;
    page.must_say("Say first where your farm roughly is");
    let page = emil.open(yard, "/distances").await;
    let here = [("latitude", "52.55"), ("longitude", "-4")];
    let page = emil.send(yard, &page, "/distances", &here).await;
    page.must_say("56 km");
    assert!(!page.html.contains("52.05"), "where the other farm is, is its own affair");
    let page = emil.open(yard, "/wants/new").await;
    let page = emil.send(yard, &page, "/wants/new", &typed).await;
    page.must_say("from within 60 km").must_say("56 km, ");
    emil.open(yard, "/matches").await.must_say("56 km");
    let page = emil.open(yard, "/distances").await;
    let page = emil.send(yard, &page, "/distances", &[("latitude", ""), ("longitude", "")]).await;
    page.must_say("not known");
}
