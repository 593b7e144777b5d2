//! The ledger's sync: push, pull, forks, gaps, and which token opens it.

use actix_web::http::StatusCode;
use serde_json::json;
use spareloop_api::people::{DeviceRegistered, DeviceView};
use spareloop_api::problem::ProblemCode;
use spareloop_api::stock::StockView;
use spareloop_api::sync::Summary;
use spareloop_domain::ledger::body::{Recount, VarietyNote};
use spareloop_domain::words::{DeviceId, LotId, VarietyId};

use crate::farm::{Chain, Farm, count};
use crate::yard::{Call, Yard, new_id};

#[actix_web::test]
async fn what_a_device_pushes_another_pulls_byte_for_byte() {
    let (yard, clara) = Yard::new().await;
    let mut farm = Farm::new(&yard, &clara, "dora").await;
    farm.stores(&yard, "Ember Lantern", 40).await;
    let page = farm.pull(&yard, 0).await;
    assert_eq!(page.entries.iter().map(|one| one.position).collect::<Vec<_>>(), [1, 2, 3]);
    assert!(page.entries.iter().all(|one| one.entry.verify().is_ok()));
    assert!(!page.more);
    let summary: Summary =
        yard.send(Call::get("/ledger/summary").by(&farm.device_token)).await.ok();
    assert_eq!((summary.position, summary.heads.len()), (3, 1));
    assert_eq!(summary.epoch, page.epoch);
    assert!(farm.pull(&yard, 3).await.entries.is_empty());
}

#[actix_web::test]
async fn pushing_again_stores_nothing_twice() {
    let (yard, clara) = Yard::new().await;
    let mut farm = Farm::new(&yard, &clara, "dora").await;
    farm.stores(&yard, "Ember Lantern", 40).await;
    let entries: Vec<_> =
        farm.pull(&yard, 0).await.entries.into_iter().map(|one| one.entry).collect();
    let again = farm.push(&yard, &entries).await;
    assert_eq!((again.stored, again.already_here), (0, 3));
}

#[actix_web::test]
async fn a_fork_a_gap_and_a_changed_entry_are_refused_by_name() {
    let (yard, clara) = Yard::new().await;
    let mut farm = Farm::new(&yard, &clara, "dora").await;
    let lot = farm.stores(&yard, "Ember Lantern", 40).await;
    let recount = |counted| Recount { lot, counted: count(counted), missing: None };
    let mut cloned = farm.chain.clone();
    let first = farm.chain.note("2027-01-05", recount(41));
    assert_eq!(farm.push(&yard, &[first]).await.stored, 1);
    let refused = farm.push(&yard, &[cloned.note("2027-01-05", recount(42))]).await.refused;
    assert_eq!(refused[0].code, ProblemCode::Fork);
    let _skipped = farm.chain.note("2027-01-06", recount(43));
    let refused = farm.push(&yard, &[farm.chain.clone().note("2027-01-07", recount(44))]).await;
    assert_eq!(refused.refused[0].code, ProblemCode::Gap);
    let mut other = Chain::new(farm.id(), DeviceId::new(new_id()));
    let mut changed = other.note("2027-01-07", recount(44));
    changed.body["counted"] = json!(45);
    assert_eq!(farm.push(&yard, &[changed]).await.refused[0].code, ProblemCode::BrokenChain);
}

#[actix_web::test]
async fn an_entry_of_another_farm_is_refused_and_stored_nowhere() {
    let (yard, clara) = Yard::new().await;
    let dora = Farm::new(&yard, &clara, "dora").await;
    let mut emil = Farm::new(&yard, &clara, "emil").await;
    let note = VarietyNote::naming(VarietyId::new(new_id()), "Ember".parse().unwrap());
    let entry = emil.chain.note("2026-11-01", note);
    assert_eq!(dora.push(&yard, &[entry]).await.refused[0].code, ProblemCode::WrongFarm);
    assert!(dora.pull(&yard, 0).await.entries.is_empty());
    assert!(emil.pull(&yard, 0).await.entries.is_empty());
}

#[actix_web::test]
async fn a_device_token_opens_the_ledger_and_nothing_else_and_a_sign_in_not_the_ledger() {
    let (yard, clara) = Yard::new().await;
    let farm = Farm::new(&yard, &clara, "dora").await;
    let by_device = yard.send(Call::get("/stock").by(&farm.device_token)).await;
    assert_eq!(by_device.code(), ProblemCode::NotAllowed);
    let by_person = yard.send(Call::get("/ledger/summary").by(farm.token())).await;
    assert_eq!(by_person.code(), ProblemCode::NotAllowed);
}

#[actix_web::test]
async fn a_device_that_was_shut_out_comes_in_no_more_and_its_entries_stay() {
    let (yard, clara) = Yard::new().await;
    let mut farm = Farm::new(&yard, &clara, "dora").await;
    farm.stores(&yard, "Ember Lantern", 40).await;
    let path = format!("/devices/{}/shut-out", farm.chain.device);
    let call = Call::post(&path, &json!({})).once().by(farm.token());
    let view: DeviceView = yard.send(call).await.ok();
    assert!(view.shut_out_at.is_some());
    let answer = yard.send(Call::get("/ledger/summary").by(&farm.device_token)).await;
    assert_eq!(answer.code(), ProblemCode::DeviceShutOut);
    let stock: StockView = yard.send(Call::get("/stock").by(farm.token())).await.ok();
    assert_eq!(stock.lines[0].in_store, count(40));
}

#[actix_web::test]
async fn a_device_of_another_farm_is_refused_before_any_entry_travels() {
    let (yard, clara) = Yard::new().await;
    let dora = yard.join(&clara, "dora").await;
    let body = json!({"device": new_id(), "farm": new_id(), "name": "laptop"});
    let answer = yard.send(Call::post("/devices", &body).once().by(dora.token())).await;
    assert_eq!(answer.code(), ProblemCode::WrongFarm);
}

#[actix_web::test]
async fn a_repeated_registration_gives_the_same_token_again() {
    let (yard, clara) = Yard::new().await;
    let dora = yard.join(&clara, "dora").await;
    let body =
        json!({"device": new_id(), "farm": dora.me.farm.as_ref().unwrap().id, "name": "phone"});
    let call = || Call::post("/devices", &body).key("key-of-the-phone").by(dora.token());
    let one: DeviceRegistered = yard.send(call()).await.ok();
    let two: DeviceRegistered = yard.send(call()).await.ok();
    assert_eq!(one.device_token, two.device_token);
    let summary = yard.send(Call::get("/ledger/summary").by(&one.device_token.0)).await;
    assert_eq!(summary.status, StatusCode::OK);
}

#[actix_web::test]
async fn more_entries_than_a_push_may_hold_are_refused_as_too_large() {
    let (yard, clara) = Yard::new().await;
    let mut farm = Farm::new(&yard, &clara, "dora").await;
    let lot = LotId::new(new_id());
    let entries: Vec<_> = (0..501)
        .map(|_| farm.chain.note("2027-01-05", Recount { lot, counted: count(1), missing: None }))
        .collect();
    let call = Call::post("/ledger/entries", &json!({"entries": entries}));
    assert_eq!(yard.send(call.by(&farm.device_token)).await.code(), ProblemCode::TooLarge);
}

#[actix_web::test]
async fn the_stock_says_what_is_spare_in_a_sentence() {
    let (yard, clara) = Yard::new().await;
    let mut farm = Farm::new(&yard, &clara, "dora").await;
    farm.stores(&yard, "Ember Lantern", 40).await;
    let stock: StockView = yard.send(Call::get("/stock").by(farm.token())).await.ok();
    let line = &stock.lines[0];
    assert_eq!((line.variety.as_str(), line.in_store), ("Ember Lantern", count(40)));
    assert!(line.spare.unwrap() > count(0), "{line:?}");
    assert!(line.sentence.contains("40 in store"), "{}", line.sentence);
}
