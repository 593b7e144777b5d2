//! A server in process, with its network, and how tests speak to it.

use std::future::Future;
use std::net::SocketAddr;
use std::pin::Pin;
use std::rc::Rc;
use std::sync::{Arc, Mutex};

use actix_web::body::to_bytes;
use actix_web::http::{Method, StatusCode};
use actix_web::test::{TestRequest, init_service};
use actix_web::web::{Bytes, Data};
use chrono::{DateTime, TimeDelta, Utc};
use serde::de::DeserializeOwned;
use serde_json::{Value, json};
use spareloop_api::people::{InvitationMade, Me, NetworkView, Tokens};
use spareloop_api::problem::{Problem, ProblemCode};
use spareloop_server::app;
use spareloop_server::config::Front;
use spareloop_server::house::{House, Reached};
use spareloop_server::keys::Keys;
use spareloop_server::openapi::Document;
use spareloop_server::telling::Telling;
use spareloop_store::{DatabaseUrl, SecretHash, Store, fresh, people};
use tempfile::TempDir;
use uuid::Uuid;

pub(crate) const PASSWORD: &str = "a wet spring and a dry july";
const SET_UP_TOKEN: &str = "the link of the first start";

type Answering = Pin<Box<dyn Future<Output = Answer>>>;

/// A server in process.
pub(crate) struct Yard {
    call: Rc<dyn Fn(TestRequest) -> Answering>,
    pub(crate) house: Data<House>,
    pub(crate) document: Data<Document>,
    clock: Arc<Mutex<DateTime<Utc>>>,
    folder: TempDir,
}

/// What it answered.
#[derive(Debug, Clone)]
pub(crate) struct Answer {
    pub(crate) status: StatusCode,
    pub(crate) headers: Vec<(String, String)>,
    pub(crate) body: Bytes,
}

impl Answer {
    pub(crate) fn header(&self, name: &str) -> Option<&str> {
        self.headers.iter().find(|(known, _)| known == name).map(|(_, value)| value.as_str())
    }

    pub(crate) fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    /// The body of an answer that must be a success.
    pub(crate) fn ok<T: DeserializeOwned>(&self) -> T {
        assert!(self.status.is_success(), "{}: {}", self.status, self.text());
        serde_json::from_slice(&self.body).expect("the answer is what the interface says")
    }

    /// The code of an answer that must be a problem.
    pub(crate) fn code(&self) -> ProblemCode {
        self.problem().code
    }

    pub(crate) fn problem(&self) -> Problem {
        assert_eq!(self.header("content-type"), Some("application/problem+json"), "{self:?}");
        let problem: Problem = serde_json::from_slice(&self.body).expect("a problem");
        assert_eq!(problem.status, self.status.as_u16());
        problem
    }
}

/// A call about to be made.
pub(crate) struct Call {
    request: TestRequest,
}

impl Call {
    pub(crate) fn new(method: Method, path: &str) -> Self {
        let peer = SocketAddr::from(([127, 0, 0, 1], 5_000));
        Self { request: TestRequest::default().method(method).uri(path).peer_addr(peer) }
    }
    pub(crate) fn get(path: &str) -> Self {
        Self::new(Method::GET, &format!("/api/v1{path}"))
    }
    pub(crate) fn post(path: &str, body: &Value) -> Self {
        Self::new(Method::POST, &format!("/api/v1{path}")).body(body)
    }
    pub(crate) fn delete(path: &str) -> Self {
        Self::new(Method::DELETE, &format!("/api/v1{path}"))
    }
    fn body(self, body: &Value) -> Self {
        Self { request: self.request.set_json(body) }
    }
    pub(crate) fn raw(self, kind: &str, body: impl Into<Bytes>) -> Self {
        Self {
            request: self.request.insert_header(("content-type", kind)).set_payload(body.into()),
        }
    }
    pub(crate) fn header(self, name: &'static str, value: &str) -> Self {
        Self { request: self.request.insert_header((name, value.to_owned())) }
    }
    /// With a token.
    pub(crate) fn by(self, token: &str) -> Self {
        self.header("authorization", &format!("Bearer {token}"))
    }
    /// With a fresh key.
    pub(crate) fn once(self) -> Self {
        self.key(&new_id().to_string())
    }
    pub(crate) fn key(self, key: &str) -> Self {
        self.header("idempotency-key", key)
    }
}

/// A new id, as a client makes it.
pub(crate) fn new_id() -> Uuid {
    fresh::uuid(Utc::now()).unwrap()
}

/// A person of the network with their tokens.
#[derive(Clone)]
pub(crate) struct Person {
    pub(crate) tokens: Tokens,
    pub(crate) me: Me,
}

impl Person {
    pub(crate) fn token(&self) -> &str {
        &self.tokens.access_token.0
    }
}

impl Yard {
    /// A server to which nobody has come yet; the set-up link is known to the test.
    pub(crate) async fn empty() -> Self {
        Self::empty_telling(Telling::default()).await
    }

    /// The same, which tells farms things that way.
    pub(crate) async fn empty_telling(telling: Telling) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let clock = Arc::new(Mutex::new("2027-02-01T09:00:00Z".parse().unwrap()));
        let yard = Self::over(folder, Arc::clone(&clock), telling).await;
        let now = *clock.lock().unwrap();
        let token = SecretHash::of(SET_UP_TOKEN);
        yard.house.write(move |tx| people::put_set_up_token(tx, token, now)).await.unwrap();
        yard
    }

    /// The same server, stopped and started again, telling farms nothing beside the pages.
    pub(crate) async fn restarted(self) -> Self {
        let Self { call, house, document, clock, folder } = self;
        drop((call, house, document));
        Self::over(folder, clock, Telling::default()).await
    }

    async fn over(folder: TempDir, clock: Arc<Mutex<DateTime<Utc>>>, telling: Telling) -> Self {
        let file = folder.path().join("yard.sqlite");
        let store = Store::open(&DatabaseUrl::Sqlite(file)).unwrap();
        let reads = Arc::clone(&clock);
        let document = Document::new();
        let house = House::new(
            store,
            Keys::from_text("a secret of the tests, forty letters long").unwrap(),
            document.policies().unwrap(),
            Reached { url: "http://localhost:8470".into(), front: Front::None },
            Arc::new(move || *reads.lock().unwrap()),
        )
        .unwrap()
        .telling(telling);
        let (house, document) = (Data::new(house), Data::new(document));
        let service = Rc::new(init_service(app::app(house.clone(), document.clone())).await);
        let call = Rc::new(move |request: TestRequest| -> Answering {
            let service = Rc::clone(&service);
            Box::pin(async move {
                let response = actix_web::test::call_service(&*service, request.to_request()).await;
                let status = response.status();
                let headers = response
                    .headers()
                    .iter()
                    .map(|(name, value)| {
                        (name.to_string(), String::from_utf8_lossy(value.as_bytes()).into_owned())
                    })
                    .collect();
                let body = to_bytes(response.into_body()).await.ok().unwrap_or_default();
                Answer { status, headers, body }
            })
        });
        Self { call, house, document, clock, folder }
    }

    /// A server with its coordinator and a network.
    pub(crate) async fn new() -> (Self, Person) {
        Self::telling(Telling::default()).await
    }

    /// The same, which tells farms things that way.
    pub(crate) async fn telling(telling: Telling) -> (Self, Person) {
        let yard = Self::empty_telling(telling).await;
        let tokens: Tokens = yard
            .send(Call::post(
                "/set-up",
                &json!({"token": SET_UP_TOKEN, "login": "clara",
                "display_name": "Clara", "password": PASSWORD}),
            ))
            .await
            .ok();
        let made = Call::post("/networks", &json!({"name": "Invented Fen Loop"}));
        let _: NetworkView = yard.send(made.once().by(&tokens.access_token.0)).await.ok();
        let me = yard.me(&tokens).await;
        (yard, Person { tokens, me })
    }

    pub(crate) fn set_up_token() -> &'static str {
        SET_UP_TOKEN
    }

    pub(crate) async fn send(&self, call: Call) -> Answer {
        (self.call)(call.request).await
    }

    /// Sends several at the same time; answers in their order.
    pub(crate) async fn send_together(&self, calls: Vec<Call>) -> Vec<Answer> {
        let sent: Vec<_> =
            calls.into_iter().map(|call| actix_web::rt::spawn((self.call)(call.request))).collect();
        let mut answers = Vec::new();
        for one in sent {
            answers.push(one.await.expect("an answer"));
        }
        answers
    }

    /// The token of a grower of another network of the same server. There is no way to a second
    /// network through the interface yet, so its rows are written by hand.
    pub(crate) async fn other_network(&self, login: &str) -> String {
        use diesel::{Connection as _, connection::SimpleConnection as _};
        let file = self.folder.path().join("yard.sqlite");
        let mut rows = diesel::SqliteConnection::establish(file.to_str().unwrap()).unwrap();
        let [network, farm, person, device] = [new_id(), new_id(), new_id(), new_id()];
        let hash = self.house.passwords.hash(PASSWORD.to_owned()).await.unwrap();
        let at = "2027-01-01 00:00:00.000000";
        rows.batch_execute(&format!(
            "INSERT INTO networks (id, name, made_at) VALUES ('{network}', 'Other', '{at}');
             INSERT INTO farms VALUES ('{farm}', '{network}', 'Elsewhere', '{device}', 0, '{at}');
             INSERT INTO people VALUES
                ('{person}', '{login}', '{login}', '{login}', '{hash}', 'grower', '{network}',
                 '{farm}', '{at}');"
        ))
        .unwrap();
        let body = json!({"login": login, "password": PASSWORD});
        let tokens: Tokens = self.send(Call::post("/sign-in", &body)).await.ok();
        tokens.access_token.0
    }

    pub(crate) async fn me(&self, tokens: &Tokens) -> Me {
        self.send(Call::get("/me").by(&tokens.access_token.0)).await.ok()
    }

    pub(crate) fn now(&self) -> DateTime<Utc> {
        *self.clock.lock().unwrap()
    }

    pub(crate) fn wait(&self, time: TimeDelta) {
        *self.clock.lock().unwrap() += time;
    }

    pub(crate) fn folder(&self) -> &std::path::Path {
        self.folder.path()
    }

    pub(crate) async fn invite(&self, coordinator: &Person) -> InvitationMade {
        let call = Call::post("/invitations", &json!({"for_whom": "a farm"}));
        self.send(call.once().by(coordinator.token())).await.ok()
    }

    /// A farm that joins by a fresh invitation.
    pub(crate) async fn join(&self, coordinator: &Person, login: &str) -> Person {
        let code = self.invite(coordinator).await.code.0;
        let body = json!({"code": code, "login": login, "display_name": login, "password": PASSWORD,
            "farm": new_id(), "farm_name": format!("Invented farm of {login}")});
        let tokens: Tokens = self.send(Call::post("/join", &body).once()).await.ok();
        let me = self.me(&tokens).await;
        Person { tokens, me }
    }
}
