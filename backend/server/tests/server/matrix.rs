//! Every operation of the description, tried by everybody who must not: the matrix is made from the
//! description itself, so an operation that is added is tried from then on.
//!
//! A refused request changes no row; what is foreign looks like what is missing; and marks that were
//! planted in what belongs to others are read by nobody else.

use std::collections::BTreeMap;

use actix_web::http::Method;
use chrono::TimeDelta;
use diesel::sql_types::Text;
use diesel::{Connection as _, QueryableByName, RunQueryDsl, SqliteConnection, sql_query};
use serde_json::{Value, json};
use spareloop_api::access::Access;
use spareloop_api::channels::ChannelMade;
use spareloop_api::claims::ClaimView;
use spareloop_api::exchange::{HoldView, OfferView, TurnView, WantView};
use spareloop_api::people::Tokens;
use spareloop_api::rounds::{RoundLine, RoundView};
use spareloop_server::auth::policy::operations;
use spareloop_server::solving;

use crate::exchange::Pair;
use crate::farm::Farm;
use crate::payments;
use crate::questions;
use crate::yard::{Answer, Call, PASSWORD, new_id};

/// In every text that a farm writes for itself or for one neighbour.
const PRIVATE: &str = "kestrelmark";
/// In every text that a farm writes for its network.
const OF_THE_NETWORK: &str = "plovermark";

/// Ids of things by the name that paths give them.
type Things = BTreeMap<&'static str, String>;

/// A network in which something of everything is there, and whoever may try to get at it.
struct World {
    pair: Pair,
    frida: Farm,
    /// A grower of another network.
    gus: String,
    /// What dora and emil have.
    theirs: Things,
}

impl World {
    async fn new() -> Self {
        let mut pair = Pair::new().await;
        pair.lot = pair.giver.stores(&pair.yard, &format!("Amber {OF_THE_NETWORK}"), 40).await;
        let frida = Farm::new(&pair.yard, &pair.clara, "frida").await;
        let gus = pair.yard.other_network("gus").await;
        let offer = json!({"offer": new_id(), "lot": pair.lot, "count": 20, "smallest_parcel": 1,
            "conditions": format!("at the gate, {OF_THE_NETWORK}")});
        let offer: OfferView = pair.act(&pair.giver, "/offers", &offer).await.ok();
        let want: WantView = pair.want(6).await;
        let asked = json!({"hold": new_id(), "count": 6, "purpose": "swap",
            "unit_value_tenths": 10, "note": format!("for the east bed, {PRIVATE}")});
        let path = format!("/offers/{}/holds", offer.offer);
        let hold: HoldView = pair.act(&pair.taker, &path, &asked).await.ok();
        let passed = json!({"hold": new_id(), "count": 2, "purpose": "gift", "note": PRIVATE});
        let passed: HoldView = pair.act(&pair.taker, &path, &passed).await.ok();
        let agree = format!("/holds/{}/agree", passed.hold);
        let _: HoldView = pair.act(&pair.giver, &agree, &json!({"why": PRIVATE})).await.ok();
        let given = json!({"hand_over": new_id(), "given": 2, "on": "2027-02-01",
            "condition": format!("dry, {PRIVATE}")});
        let path = format!("/holds/{}/hand-over", passed.hold);
        let passed: HoldView = pair.act(&pair.giver, &path, &given).await.ok();
        let hand_over = passed.hand_over.unwrap().hand_over;
        let feed: ChannelMade =
            pair.act(&pair.giver, "/channels", &json!({"kind": "feed"})).await.ok();
        let claim = claimed(&pair, &offer).await;
        let waits = json!({"turn": new_id(), "count": 15, "purpose": "gift", "note": PRIVATE});
        let path = format!("/offers/{}/line", offer.offer);
        let turn: TurnView = pair.act(&pair.taker, &path, &waits).await.ok();
        let (round, proposal) = proposed(&mut pair).await;
        let payment = paid(&pair).await;
        let question = questions::asked(&mut pair).await;
        let invitation = pair.yard.invite(&pair.clara).await;
        let theirs = Things::from([
            ("offer", offer.offer.to_string()),
            ("want", want.want.to_string()),
            ("hold", hold.hold.to_string()),
            ("hand_over", hand_over.to_string()),
            ("channel", feed.channel.channel.to_string()),
            ("claim", claim),
            ("turn", turn.turn.to_string()),
            ("question", question),
            ("payment", payment),
            ("round", round),
            ("proposal", proposal),
            ("device", pair.giver.chain.device.to_string()),
            ("farm", pair.giver.id().to_string()),
            ("lot", pair.lot.to_string()),
            ("invitation", invitation.id.to_string()),
        ]);
        Self { pair, frida, gus, theirs }
    }

    /// As many things, none of which is there.
    fn missing(&self) -> Things {
        self.theirs.keys().map(|name| (*name, new_id().to_string())).collect()
    }

    fn operations(&self) -> Vec<Operation> {
        let document = serde_json::to_value(&self.pair.yard.document.0).unwrap();
        let policies = self.pair.yard.document.policies().unwrap();
        let mut found = Vec::new();
        for (path, item) in &self.pair.yard.document.0.paths.paths {
            for (method, operation) in operations(item) {
                let method = Method::from_bytes(method.as_bytes()).unwrap();
                let described = &document["paths"][path][method.as_str().to_lowercase()];
                let schema = &described["requestBody"]["content"]["application/json"]["schema"];
                found.push(Operation {
                    name: operation.operation_id.clone().unwrap_or_default(),
                    access: policies.of(path, &method).expect("a policy"),
                    body: (!schema.is_null()).then(|| example(schema, &document)),
                    path: path.clone(),
                    method,
                });
            }
        }
        assert!(found.len() > 30, "only {} operations are described", found.len());
        found
    }

    /// Everything that is in the database, table by table. Of what keeps acts from being done twice
    /// only acts that were done: a refusal is kept there, too, and is no act.
    fn rows(&self) -> BTreeMap<String, String> {
        let file = self.pair.yard.folder().join("yard.sqlite");
        let mut book = SqliteConnection::establish(file.to_str().unwrap()).unwrap();
        let mut texts = |query: &str| -> Vec<String> {
            let rows: Vec<Line> = sql_query(query).load(&mut book).unwrap();
            rows.into_iter().map(|row| row.line).collect()
        };
        let tables = texts("SELECT name AS line FROM sqlite_schema WHERE type = 'table'");
        let mut all = BTreeMap::new();
        for table in tables {
            let columns = texts(&format!(
                "SELECT group_concat('quote(' || name || ')', ' || '','' || ') AS line \
                 FROM pragma_table_info('{table}')"
            ));
            let done = match table.as_str() {
                "idempotency" => "WHERE result IS NOT NULL",
                _ => "",
            };
            let lines =
                texts(&format!("SELECT {} AS line FROM {table} {done} ORDER BY 1", columns[0]));
            all.insert(table, lines.join("\n"));
        }
        all
    }

    /// Sends, and looks whether a row has changed.
    async fn send_without_trace(&self, what: &str, call: Call) -> Answer {
        let before = self.rows();
        let answer = self.pair.yard.send(call).await;
        let after = self.rows();
        let changed: Vec<&String> =
            after.keys().filter(|table| before.get(*table) != after.get(*table)).collect();
        assert!(changed.is_empty(), "{what} changed {changed:?}: {}", answer.text());
        answer
    }

    async fn sign_in(&self, login: &str) -> Tokens {
        let body = json!({"login": login, "password": PASSWORD});
        self.pair.yard.send(Call::post("/sign-in", &body)).await.ok()
    }
}

/// A claim on something that passed between the two farms.
async fn claimed(pair: &Pair, offer: &OfferView) -> String {
    let body = json!({"hold": new_id(), "count": 1, "purpose": "gift", "note": PRIVATE});
    let path = format!("/offers/{}/holds", offer.offer);
    let hold: HoldView = pair.act(&pair.taker, &path, &body).await.ok();
    let received = pair.received(hold.hold, 1).await;
    let path = format!("/hand-overs/{}/claims", received.hand_over.unwrap().hand_over);
    let body = json!({"claim": new_id(), "kind": "condition", "count": 1, "words": PRIVATE});
    let claim: ClaimView = pair.act(&pair.taker, &path, &body).await.ok();
    claim.claim.to_string()
}

/// A payment that emil noted.
async fn paid(pair: &Pair) -> String {
    let hold = payments::sold(pair).await.hold;
    let body = json!({"payment": new_id(), "amount": "10 EUR", "on": "2027-02-01"});
    let noted: HoldView =
        pair.act(&pair.taker, &format!("/holds/{hold}/payments"), &body).await.ok();
    noted.payments[0].payment.to_string()
}

/// A round and the loop that it proposes to the two farms.
async fn proposed(pair: &mut Pair) -> (String, String) {
    let given = pair.giver.stores(&pair.yard, "Tin Orchard", 20).await;
    let taken = pair.taker.stores(&pair.yard, "Dusk Ferry", 20).await;
    for (farm, lot, wanted) in
        [(&pair.giver, given, "Dusk Ferry"), (&pair.taker, taken, "Tin Orchard")]
    {
        let offer = json!({"offer": new_id(), "lot": lot, "count": 8, "smallest_parcel": 2});
        let _: OfferView = pair.act(farm, "/offers", &offer).await.ok();
        let want = json!({"want": new_id(), "variety": wanted, "unit": "division", "count": 6});
        let _: WantView = pair.act(farm, "/wants", &want).await.ok();
    }
    let round = new_id().to_string();
    let body = json!({"round": round, "rules": {"seconds": 2}});
    let call = Call::post("/rounds", &body).once().by(pair.clara.token());
    let _: RoundLine = pair.yard.send(call).await.ok();
    solving::turn(&pair.yard.house).await.unwrap();
    let path = format!("/rounds/{round}");
    let found: RoundView = pair.yard.send(Call::get(&path).by(pair.clara.token())).await.ok();
    assert_eq!(found.proposals.len(), 1, "{found:?}");
    (round, found.proposals[0].proposal.to_string())
}

#[derive(QueryableByName)]
struct Line {
    #[diesel(sql_type = Text)]
    line: String,
}

struct Operation {
    name: String,
    access: Access,
    method: Method,
    path: String,
    body: Option<Value>,
}

impl Operation {
    /// A call of it with ids for the names in its path; what isn't there is new.
    fn call(&self, things: &Things) -> Call {
        let part = |part: &str| match part.strip_prefix('{').and_then(|it| it.strip_suffix('}')) {
            Some(name) => things.get(name).cloned().unwrap_or_else(|| new_id().to_string()),
            None => part.to_owned(),
        };
        let path: Vec<String> = self.path.split('/').map(part).collect();
        let call = Call::new(self.method.clone(), &path.join("/"));
        let call = match &self.body {
            Some(body) => call.raw("application/json", self.body_for(body).to_string()),
            None => call,
        };
        if self.method == Method::POST { call.once() } else { call }
    }

    /// The example of the description, and where that is no sense, what makes some.
    fn body_for(&self, example: &Value) -> Value {
        let mut body = example.clone();
        let more = match self.name.as_str() {
            "ask_hold" => {
                json!({"purpose": "gift", "count": 1, "unit_value_tenths": 0, "unit_price": null,
                "want": null, "hours": 24})
            }
            "wait_in_line" => json!({"purpose": "gift", "count": 1, "unit_value_tenths": 0,
                "want": null}),
            "hand_over" => json!({"given": 1, "on": "2027-02-01"}),
            "receive" => json!({"received": 2, "on": "2027-02-01"}),
            "bring_walk_up" => json!({"unit": "division", "count": 1}),
            "pass_on_the_spot" => json!({"purpose": "gift", "count": 1, "unit_value_tenths": 0,
                "unit_price": null, "on": "2027-02-01"}),
            "note_payment" => json!({"amount": "1 EUR", "on": "2027-02-01"}),
            "answer_question" => json!({"answer": "keep-need"}),
            "set_cut_rule" => json!({"rule": "by-shares"}),
            "make_claim" => json!({"kind": "condition", "count": 1}),
            "make_offer" => json!({"count": 1, "smallest_parcel": 1, "open_to": "everybody"}),
            _ => json!({}),
        };
        if let (Some(body), Some(more)) = (body.as_object_mut(), more.as_object()) {
            body.extend(more.clone());
        }
        body
    }

    fn names_a_thing(&self) -> bool {
        self.path.contains('{')
    }

    /// Whether what its path names is for the eyes of a farm's neighbours in the network.
    fn names_what_neighbours_see(&self) -> bool {
        ["{offer}", "{want}", "{farm}", "{lot}", "{key}", "{round}"]
            .iter()
            .any(|it| self.path.contains(it))
    }
}

/// A value that fits a schema.
fn example(schema: &Value, document: &Value) -> Value {
    if let Some(name) = schema["$ref"].as_str() {
        let place = name.trim_start_matches('#');
        return example(document.pointer(place).expect("what is referred to"), document);
    }
    for choice in ["oneOf", "anyOf", "allOf"] {
        if let Some(choices) = schema[choice].as_array() {
            let real = choices.iter().find(|one| one["type"] != "null");
            return real.map_or(Value::Null, |one| example(one, document));
        }
    }
    if let Some(first) = schema["enum"].as_array().and_then(|values| values.first()) {
        return first.clone();
    }
    let kind = schema["type"].as_array().map_or(&schema["type"], |kinds| &kinds[0]);
    match (kind.as_str().unwrap_or("object"), schema["format"].as_str()) {
        ("string", Some("uuid")) => json!(new_id()),
        ("string", Some("date")) => json!("2027-02-01"),
        ("string", Some("date-time")) => json!("2027-02-01T09:00:00Z"),
        ("string", _) => json!("something invented"),
        ("integer" | "number", _) => json!(1),
        ("boolean", _) => json!(false),
        ("array", _) => json!([]),
        _ => {
            let all = schema["properties"].as_object();
            let fields = all.into_iter().flatten();
            fields.map(|(name, field)| (name.clone(), example(field, document))).collect()
        }
    }
}

#[actix_web::test]
async fn whoever_is_not_let_in_gets_in_nowhere_and_leaves_no_trace() {
    let world = World::new().await;
    let yard = &world.pair.yard;
    let old = world.sign_in("emil").await.access_token.0;
    yard.wait(TimeDelta::minutes(20));
    let signed_out = world.sign_in("emil").await;
    let out = json!({"refresh_token": signed_out.refresh_token.0});
    assert!(yard.send(Call::post("/sign-out", &out)).await.status.is_success());
    let emil = world.sign_in("emil").await.access_token.0;
    let clara = world.sign_in("clara").await.access_token.0;
    let shut_out = Farm::new(yard, &clara_now(&world, clara.clone()), "hugo").await;
    let path = format!("/devices/{}/shut-out", shut_out.chain.device);
    let done = yard.send(Call::post(&path, &json!({})).once().by(shut_out.token())).await;
    assert!(done.status.is_success(), "{}", done.text());
    let device = &world.pair.giver.device_token;
    let forged = format!("{clara}x");

    for operation in world.operations() {
        if operation.access == Access::Anybody {
            continue;
        }
        let nobody = [
            ("nobody", None),
            ("garbage", Some("garbage")),
            ("garbage as of a device", Some("dev_garbage")),
            ("forged", Some(forged.as_str())),
            ("expired", Some(old.as_str())),
            ("signed out", Some(signed_out.access_token.0.as_str())),
            ("a device that is shut out", Some(shut_out.device_token.as_str())),
        ];
        for (who, token) in nobody {
            let what = format!("{} by {who}", operation.name);
            let call = operation.call(&world.theirs);
            let call = match token {
                Some(token) => call.by(token),
                None => call,
            };
            let answer = world.send_without_trace(&what, call).await;
            assert_eq!(answer.status.as_u16(), 401, "{what}: {}", answer.text());
            assert_clean(&what, &answer, &[PRIVATE, OF_THE_NETWORK]);
        }
        for (role, token) in
            [(Access::Coordinator, &clara), (Access::Grower, &emil), (Access::Device, device)]
        {
            let let_in = operation.access == role
                || operation.access == Access::Person && role != Access::Device;
            if let_in {
                continue;
            }
            let what = format!("{} by a {role:?}", operation.name);
            let call = operation.call(&world.theirs).by(token);
            let answer = world.send_without_trace(&what, call).await;
            let refused = [401, 403].contains(&answer.status.as_u16());
            assert!(refused, "{what}: {} {}", answer.status, answer.text());
            assert_clean(&what, &answer, &[PRIVATE, OF_THE_NETWORK]);
        }
    }
}

#[actix_web::test]
async fn another_network_finds_nothing_there_and_changes_nothing_of_what_is_not_its_own() {
    let world = World::new().await;
    let mut tried = 0;
    for operation in world.operations() {
        if matches!(operation.access, Access::Anybody | Access::Device | Access::Coordinator) {
            continue;
        }
        let what = format!("{} by another network", operation.name);
        if !operation.names_a_thing() {
            // What it may read or make is its own; no mark of others may be in it.
            let answer = world.pair.yard.send(operation.call(&world.theirs).by(&world.gus)).await;
            assert_clean(&what, &answer, &[PRIVATE, OF_THE_NETWORK, "dora", "Amber"]);
            continue;
        }
        let foreign =
            world.send_without_trace(&what, operation.call(&world.theirs).by(&world.gus)).await;
        let nowhere = world.missing();
        let missing = world.pair.yard.send(operation.call(&nowhere).by(&world.gus)).await;
        assert_alike(&what, (&foreign, &world.theirs), (&missing, &nowhere));
        assert_clean(&what, &foreign, &[PRIVATE, OF_THE_NETWORK, "dora", "Amber"]);
        tried += 1;
    }
    assert!(tried > 10, "only {tried} operations name a thing");
}

#[actix_web::test]
async fn a_neighbour_sees_nothing_of_what_two_others_have_between_them() {
    let world = World::new().await;
    for operation in world.operations() {
        let own_device = operation.access == Access::Device;
        let token = match operation.access {
            Access::Anybody | Access::Coordinator => continue,
            Access::Device => world.frida.device_token.as_str(),
            _ => world.frida.token(),
        };
        let what = format!("{} by a neighbour", operation.name);
        let call = operation.call(&world.theirs).by(token);
        if !operation.names_a_thing() || own_device {
            let answer = world.pair.yard.send(call).await;
            assert_clean(&what, &answer, &[PRIVATE]);
            continue;
        }
        if ["ask_hold", "wait_in_line"].contains(&operation.name.as_str()) {
            // That is what an offer is for; where something is free, nobody has to wait for it.
            let answer = world.pair.yard.send(call).await;
            let free = answer.status.as_u16() == 409 && operation.name == "wait_in_line";
            assert!(answer.status.is_success() || free, "{what}: {}", answer.text());
            assert_clean(&what, &answer, &[PRIVATE]);
            continue;
        }
        let answer = world.send_without_trace(&what, call).await;
        assert_clean(&what, &answer, &[PRIVATE]);
        if !operation.names_what_neighbours_see() {
            let nowhere = world.missing();
            let missing = world.pair.yard.send(operation.call(&nowhere).by(token)).await;
            assert_alike(&what, (&answer, &world.theirs), (&missing, &nowhere));
        }
    }
}

/// What is foreign looks like what is missing, but for the ids that the caller sent.
fn assert_alike(what: &str, foreign: (&Answer, &Things), missing: (&Answer, &Things)) {
    let without_ids = |(answer, things): (&Answer, &Things)| {
        things.iter().fold(answer.text(), |text, (name, id)| text.replace(id, name))
    };
    assert_eq!(foreign.0.status, missing.0.status, "{what}");
    assert_eq!(without_ids(foreign), without_ids(missing), "{what}");
}

fn assert_clean(what: &str, answer: &Answer, marks: &[&str]) {
    let text = answer.text();
    for mark in marks {
        assert!(!text.contains(mark), "{what} shows {mark}: {text}");
    }
}

/// The coordinator with a token that still holds.
fn clara_now(world: &World, token: String) -> crate::yard::Person {
    let mut clara = world.pair.clara.clone();
    clara.tokens.access_token = spareloop_api::people::Secret(token);
    clara
}
