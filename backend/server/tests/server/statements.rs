//! Signed statements over the interface and on the pages: who states what, when, and no verdict.

use serde_json::{Value, json};
use spareloop_api::attest::{FarmKeys, LotStatements, Standing, StatementFeed, StatementView};
use spareloop_api::exchange::{Matches, OfferView, WantView};
use spareloop_api::problem::ProblemCode;
use spareloop_domain::attest::{
    self, Applied, BenchHygiene, FactKind, LaboratoryTest, Says, Second, SigningKey, Statement,
    VERSION,
};
use spareloop_domain::ledger::body::ToolsBetweenClumps;
use spareloop_domain::words::{FarmId, LotId, StatementId};

use crate::exchange::Pair;
use crate::farm::{Farm, count, day};
use crate::pages_job::Loop;
use crate::yard::{Answer, Call, Yard, new_id};

fn key() -> SigningKey {
    SigningKey::from_bytes([3; 32])
}

fn introduction(yard: &Yard, farm: FarmId) -> Value {
    let (key, made_at) = (key(), Second::of(yard.now()));
    json!({"key": key.public(), "made_at": made_at,
        "introduction": key.introduce(&key.public(), farm, made_at)})
}

async fn post(yard: &Yard, farm: &Farm, path: &str, body: &Value) -> Answer {
    yard.send(Call::post(path, body).once().by(farm.token())).await
}

fn signed(yard: &Yard, farm: FarmId, lot: LotId, says: Says) -> String {
    let statement = Statement {
        v: VERSION,
        statement: StatementId::new(new_id()),
        farm,
        lot,
        key: key().public().id(),
        issued_at: Second::of(yard.now()),
        supersedes: None,
        says,
    };
    attest::sign(statement, &key()).unwrap()
}

fn tested(positive: u16) -> Says {
    Says::LaboratoryTest(LaboratoryTest {
        on: day("2027-01-20"),
        target: "dahlia mosaic virus".to_owned(),
        method: "ELISA".to_owned(),
        tested: count(12),
        positive: count(positive),
        laboratory: "Invented Plant Laboratory".to_owned(),
        reference: "IPL 27/114".to_owned(),
    })
}

fn hygiene() -> Says {
    Says::BenchHygiene(BenchHygiene {
        on: day("2026-11-02"),
        tools: ToolsBetweenClumps::Disinfected,
        tool_dip: Some(Applied {
            agent: "bleach".to_owned(),
            strength_percent: Some(0.5),
            minutes: Some(2.0),
        }),
    })
}

async fn state(yard: &Yard, farm: &Farm, lot: LotId, says: Says) -> StatementView {
    let body = json!({"statement": signed(yard, farm.id(), lot, says)});
    post(yard, farm, &format!("/lots/{lot}/statements"), &body).await.ok()
}

#[actix_web::test]
async fn a_neighbour_reads_what_is_stated_and_can_check_it_alone() {
    let pair = Pair::new().await;
    let body = introduction(&pair.yard, pair.giver.id());
    assert_eq!(post(&pair.yard, &pair.giver, "/keys", &body).await.status.as_u16(), 201);
    let kept = state(&pair.yard, &pair.giver, pair.lot, tested(0)).await;
    assert_eq!((kept.kind.as_str(), kept.standing), ("laboratory-test", Standing::Stands));

    let get = |path: String| Call::get(&path).by(pair.taker.token());
    let keys = format!("/farms/{}/keys", pair.giver.id());
    let keys: FarmKeys = pair.yard.send(get(keys)).await.ok();
    assert_eq!(keys.keys[0].id, key().public().id());
    let lot = format!("/lots/{}/statements", pair.lot);
    let stated: LotStatements = pair.yard.send(get(lot)).await.ok();
    assert_eq!(stated.farms[0].stated.tested, "tested-none-found");
    let feed: StatementFeed = pair.yard.send(get("/statements".into())).await.ok();
    assert_eq!((feed.keys.len(), feed.statements.len(), feed.more), (1, 1, false));

    // Another implementation of RFC 7515 and RFC 8037 (jsonwebtoken over aws-lc) reads it too.
    let text = &feed.statements[0].compact;
    let public =
        jsonwebtoken::DecodingKey::from_ed_components(&keys.keys[0].record.key.to_string());
    let mut rules = jsonwebtoken::Validation::new(jsonwebtoken::Algorithm::EdDSA);
    rules.required_spec_claims.clear();
    rules.validate_exp = false;
    let read = jsonwebtoken::decode::<Value>(text, &public.unwrap(), &rules).unwrap();
    assert_eq!(read.claims["says"]["positive"], 0);
    let forged = text.replacen("eyJ", "eyK", 1);
    let post_forged = json!({"statement": forged});
    let path = format!("/lots/{}/statements", pair.lot);
    let refused = post(&pair.yard, &pair.giver, &path, &post_forged).await;
    assert_eq!(refused.code(), ProblemCode::Refused, "{}", refused.text());
}

#[actix_web::test]
async fn another_network_finds_neither_keys_nor_statements() {
    let pair = Pair::new().await;
    let body = introduction(&pair.yard, pair.giver.id());
    post(&pair.yard, &pair.giver, "/keys", &body).await;
    state(&pair.yard, &pair.giver, pair.lot, tested(0)).await;
    let stranger = pair.yard.other_network("gus").await;
    let get = |path: String| Call::get(&path).by(&stranger);
    let keys = pair.yard.send(get(format!("/farms/{}/keys", pair.giver.id()))).await;
    let nowhere = pair.yard.send(get(format!("/farms/{}/keys", new_id()))).await;
    assert_eq!((keys.code(), keys.text()), (ProblemCode::NotFound, nowhere.text()));
    for path in [format!("/lots/{}/statements", pair.lot), "/statements".to_owned()] {
        let answer = pair.yard.send(get(path)).await;
        for canary in ["Invented Plant Laboratory", "dora", key().public().id().as_str()] {
            assert!(!answer.text().contains(canary), "{canary} in {}", answer.text());
        }
    }
    let id = key().public().id();
    let call = Call::post(&format!("/keys/{id}/withdraw"), &json!({})).once().by(&stranger);
    assert_eq!(pair.yard.send(call).await.code(), ProblemCode::NotFound);
    let path = format!("/lots/{}/statements", pair.lot);
    let body = json!({"statement": signed(&pair.yard, pair.giver.id(), pair.lot, tested(0))});
    let call = Call::post(&path, &body).once().by(&stranger);
    assert_eq!(pair.yard.send(call).await.code(), ProblemCode::NotFound);
    // Nor can a neighbour of the same network speak for the farm.
    let call = Call::post(&path, &body).once().by(pair.taker.token());
    assert_eq!(pair.yard.send(call).await.code(), ProblemCode::NotFound);
}

#[actix_web::test]
async fn a_want_that_asks_for_a_test_says_that_a_statement_is_missing_until_there_is_one() {
    let pair = Pair::new().await;
    let offer = pair.offer(10).await;
    assert_eq!(offer.stated.tested, "no-test");
    let body = json!({"want": new_id(), "variety": "ember lantern", "unit": "division",
        "count": 6, "required": ["laboratory-test"]});
    let want: WantView = pair.act(&pair.taker, "/wants", &body).await.ok();
    let matches = || async {
        let call = Call::get("/matches").by(pair.taker.token());
        let found: Matches = pair.yard.send(call).await.ok();
        found.matches.into_iter().next().unwrap()
    };
    let before = matches().await;
    assert!(before.they_have.is_empty());
    assert_eq!(before.they_have_unstated[0].missing, [FactKind::LaboratoryTest].into());
    assert_eq!(before.they_have_unstated[0].line.offer, offer.offer);
    let ask = json!({"hold": new_id(), "count": 6, "want": want.want, "purpose": "swap",
        "unit_value_tenths": 10});
    let path = format!("/offers/{}/holds", offer.offer);
    let refused = pair.act(&pair.taker, &path, &ask).await;
    assert_eq!(refused.code(), ProblemCode::Refused);
    assert!(refused.text().contains("laboratory test"), "{}", refused.text());

    let known = introduction(&pair.yard, pair.giver.id());
    post(&pair.yard, &pair.giver, "/keys", &known).await;
    state(&pair.yard, &pair.giver, pair.lot, tested(0)).await;
    let after = matches().await;
    assert_eq!((after.they_have.len(), after.they_have_unstated.len()), (1, 0));
    assert_eq!(pair.act(&pair.taker, &path, &ask).await.status.as_u16(), 201);
}

/// What the page of an offer says of statements, without ids.
async fn stated_words(it: &mut Loop, offer: &str) -> String {
    let page = it.emil.open(&it.yard, offer).await;
    let text = page.text();
    let from = text.find("Signed statements").expect("the page has the part");
    let to = text[from..].find("Hold").map_or(text.len(), |at| from + at);
    let words: Vec<&str> = text[from..to].split_whitespace().collect();
    // The signed texts themselves differ from run to run.
    words.into_iter().filter(|word| !word.starts_with("eyJ")).collect::<Vec<_>>().join(" ")
}

#[actix_web::test]
async fn pages_say_who_states_what_and_never_give_a_verdict() {
    let mut it = Loop::new().await;
    let shown = it.offer("10").await;
    let offer = shown.address.split('?').next().unwrap().to_owned();
    let mut told = vec![stated_words(&mut it, &offer).await];
    let known = introduction(&it.yard, it.giver.id());
    post(&it.yard, &it.giver, "/keys", &known).await;
    state(&it.yard, &it.giver, it.lot, hygiene()).await;
    told.push(stated_words(&mut it, &offer).await);
    state(&it.yard, &it.giver, it.lot, tested(0)).await;
    told.push(stated_words(&mut it, &offer).await);
    state(&it.yard, &it.giver, it.lot, tested(2)).await;
    told.push(stated_words(&mut it, &offer).await);
    let all = told.join("\n\n");
    for verdict in ["certified", "disease-free", "virus-free", "healthy", "legal to"] {
        assert!(!all.to_lowercase().contains(verdict), "{verdict} in {all}");
    }
    assert!(told[0].contains("No test") && !told[0].contains("none found"));
    assert!(told[2].contains("Tested, none found") && !told[2].contains("No test"));
    insta::assert_snapshot!(all);
}

#[actix_web::test]
async fn a_want_made_on_a_page_asks_for_the_kinds_that_were_ticked() {
    let mut it = Loop::new().await;
    let page = it.emil.open(&it.yard, "/wants/new").await;
    let typed = [("variety", "Ember Lantern"), ("count", "4"), ("required_looked-over", "yes")];
    let page = it.emil.send(&it.yard, &page, "/wants/new", &typed).await;
    page.must_say("asks for signed statements: looked over");
    let shown = it.offer("10").await;
    let offer: OfferView = {
        let id = shown.address.split('?').next().unwrap().rsplit('/').next().unwrap().to_owned();
        it.yard.send(Call::get(&format!("/offers/{id}")).by(it.giver.token())).await.ok()
    };
    assert!(offer.stated.statements.is_empty());
    it.emil
        .open(&it.yard, "/matches")
        .await
        .must_say("a statement is missing that you ask for (looked over)");
}
