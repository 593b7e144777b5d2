//! The grid of one act under one key: first, replayed, sent together, with another body, by another
//! farm, after a restart, after the key is forgotten; for acts that are done, refused for what
//! others did (409), refused by a rule (422), and not answered for an outage (503).
//!
//! What was done is replayed to the letter. A refusal is kept as well, since a copy of a refused act
//! may still be on its way; its key is free for another act. An outage leaves nothing behind.

use chrono::TimeDelta;
use diesel::connection::SimpleConnection as _;
use diesel::{Connection as _, SqliteConnection};
use serde_json::{Value, json};
use spareloop_api::exchange::{HoldView, OfferView};
use spareloop_api::people::Tokens;
use spareloop_api::problem::ProblemCode;
use spareloop_server::jobs;

use crate::exchange::Pair;
use crate::farm::{Farm, count};
use crate::yard::{Answer, Call, PASSWORD, Person, new_id};

/// How long acts are remembered, and an hour.
const TOO_LATE: TimeDelta = TimeDelta::hours(49);

/// An offer of 10, at least 2 a parcel, and two farms who ask.
struct Grid {
    pair: Pair,
    offer: OfferView,
    other: Farm,
}

impl Grid {
    async fn new() -> Self {
        let pair = Pair::new().await;
        let offer = pair.offer(10).await;
        let other = Farm::new(&pair.yard, &pair.clara, "frida").await;
        Self { pair, offer, other }
    }

    fn call(&self, key: &str, body: &Value) -> Call {
        Call::post(&format!("/offers/{}/holds", self.offer.offer), body).key(key)
    }

    async fn ask(&self, key: &str, body: &Value) -> Answer {
        self.pair.yard.send(self.call(key, body).by(self.pair.taker.token())).await
    }

    async fn ask_by_other(&self, key: &str, body: &Value) -> Answer {
        self.pair.yard.send(self.call(key, body).by(self.other.token())).await
    }

    /// Five at once under one key.
    async fn ask_together(&self, key: &str, body: &Value) -> Vec<Answer> {
        let calls = (0..5).map(|_| self.call(key, body).by(self.pair.taker.token())).collect();
        self.pair.yard.send_together(calls).await
    }

    async fn free(&self) -> u32 {
        let path = format!("/offers/{}", self.offer.offer);
        let seen: OfferView =
            self.pair.yard.send(Call::get(&path).by(self.pair.taker.token())).await.ok();
        seen.free.get()
    }

    async fn release(&self, hold: &HoldView) {
        let path = format!("/holds/{}/release", hold.hold);
        let _: HoldView = self.pair.act(&self.pair.taker, &path, &json!({})).await.ok();
    }

    async fn restarted(mut self) -> Self {
        self.pair.yard = self.pair.yard.restarted().await;
        self
    }

    /// Two days pass, old keys are forgotten, everybody signs in again.
    async fn too_late(&mut self) {
        self.pair.yard.wait(TOO_LATE);
        jobs::prune(&self.pair.yard.house).await.unwrap();
        for (login, person) in [
            ("emil", &mut self.pair.taker.person),
            ("dora", &mut self.pair.giver.person),
            ("frida", &mut self.other.person),
        ] {
            let body = json!({"login": login, "password": PASSWORD});
            let tokens: Tokens = self.pair.yard.send(Call::post("/sign-in", &body)).await.ok();
            *person = Person { tokens, me: person.me.clone() };
        }
    }
}

fn asking(units: u32) -> Value {
    json!({"hold": new_id(), "count": units, "purpose": "swap", "unit_value_tenths": 10,
        "hours": 300})
}

#[track_caller]
fn same(one: &Answer, other: &Answer) {
    assert_eq!((one.status, one.text()), (other.status, other.text()));
}

#[actix_web::test]
async fn an_act_that_is_done_is_done_once_and_told_to_the_letter_again() {
    let grid = Grid::new().await;
    let body = asking(3);
    let first = grid.ask("key-of-one", &body).await;
    let held: HoldView = first.ok();
    assert_eq!((held.count, grid.free().await), (count(3), 7));
    // Replayed; also when the hold has moved on since.
    same(&grid.ask("key-of-one", &body).await, &first);
    grid.release(&held).await;
    same(&grid.ask("key-of-one", &body).await, &first);
    assert_eq!(grid.free().await, 10);
    // Together.
    let body_together = asking(2);
    let answers = grid.ask_together("key-of-many", &body_together).await;
    for answer in &answers {
        same(answer, &answers[0]);
    }
    let _: HoldView = answers[0].ok();
    assert_eq!(grid.free().await, 8);
    // Another body.
    let other_body = grid.ask("key-of-one", &asking(3)).await;
    assert_eq!(other_body.code(), ProblemCode::KeyReused);
    // Another farm's key of the same letters is another key.
    let _: HoldView = grid.ask_by_other("key-of-one", &asking(2)).await.ok();
    assert_eq!(grid.free().await, 6);
    // After a restart.
    let mut grid = grid.restarted().await;
    same(&grid.ask("key-of-one", &body).await, &first);
    // When the key is forgotten the hold's own id still keeps it from being made twice.
    grid.too_late().await;
    assert_eq!(grid.ask("key-of-one", &body).await.code(), ProblemCode::AlreadyTaken);
    assert_eq!(grid.free().await, 6);
}

#[actix_web::test]
async fn an_act_that_others_left_no_room_for_stays_refused_under_its_key() {
    let grid = Grid::new().await;
    let all: HoldView = grid.ask("key-of-all", &asking(10)).await.ok();
    let body = asking(4);
    let first = grid.ask("key-refused", &body).await;
    assert_eq!(first.code(), ProblemCode::NotEnoughFree);
    let together_body = asking(4);
    let together = grid.ask_together("key-together", &together_body).await;
    for answer in &together {
        assert_eq!(answer.code(), ProblemCode::NotEnoughFree);
    }
    // There is room now, and who was told no can rely on it.
    grid.release(&all).await;
    same(&grid.ask("key-refused", &body).await, &first);
    same(&grid.ask("key-together", &together_body).await, &together[0]);
    // Another farm.
    let _: HoldView = grid.ask_by_other("key-refused", &asking(2)).await.ok();
    let mut grid = grid.restarted().await;
    same(&grid.ask("key-refused", &body).await, &first);
    assert_eq!(grid.free().await, 8);
    // Another act may have the key of one that did nothing; the refused one then has none.
    let other_body = asking(3);
    let other = grid.ask("key-refused", &other_body).await;
    let _: HoldView = other.ok();
    same(&grid.ask("key-refused", &other_body).await, &other);
    assert_eq!(grid.ask("key-refused", &body).await.code(), ProblemCode::KeyReused);
    // Forgotten, it is a new act.
    grid.too_late().await;
    let late: HoldView = grid.ask("key-together", &together_body).await.ok();
    assert_eq!(late.count, count(4));
}

#[actix_web::test]
async fn an_act_that_a_rule_refuses_stays_refused_under_its_key() {
    let grid = Grid::new().await;
    // At least two are sent.
    let body = asking(1);
    let first = grid.ask("key-of-one", &body).await;
    assert_eq!((first.code(), first.status.as_u16()), (ProblemCode::Refused, 422));
    same(&grid.ask("key-of-one", &body).await, &first);
    for answer in grid.ask_together("key-of-many", &asking(1)).await {
        same(&answer, &first);
    }
    let _: HoldView = grid.ask_by_other("key-of-one", &asking(2)).await.ok();
    let mut grid = grid.restarted().await;
    same(&grid.ask("key-of-one", &body).await, &first);
    // A form that was corrected comes under the key that it had.
    let corrected: HoldView = grid.ask("key-of-one", &asking(2)).await.ok();
    assert_eq!(corrected.count, count(2));
    grid.too_late().await;
    same(&grid.ask("key-of-many", &body).await, &first);
    assert_eq!(grid.free().await, 6);
}

#[actix_web::test]
async fn an_act_that_met_an_outage_left_nothing_and_is_done_when_it_comes_again() {
    let grid = Grid::new().await;
    let (body, late) = (asking(2), asking(2));
    {
        let file = grid.pair.yard.folder().join("yard.sqlite");
        let mut other = SqliteConnection::establish(file.to_str().unwrap()).unwrap();
        other.batch_execute("BEGIN IMMEDIATE").unwrap();
        // Together, since each of them waits for some seconds.
        let token = grid.pair.taker.token();
        let mut calls: Vec<Call> =
            (0..3).map(|_| grid.call("key-of-many", &body).by(token)).collect();
        for key in ["key-replayed", "key-restart", "key-too-late"] {
            calls.push(grid.call(key, &late).by(token));
        }
        for answer in grid.pair.yard.send_together(calls).await {
            assert_eq!((answer.code(), answer.status.as_u16()), (ProblemCode::Unavailable, 503));
            assert!(answer.header("retry-after").is_some());
        }
        other.batch_execute("ROLLBACK").unwrap();
    }
    assert_eq!(grid.free().await, 10);
    // Again, and together.
    let answers = grid.ask_together("key-of-many", &body).await;
    for answer in &answers {
        same(answer, &answers[0]);
    }
    let _: HoldView = answers[0].ok();
    // Another body, since nothing was kept of the first; another farm.
    let _: HoldView = grid.ask("key-replayed", &asking(2)).await.ok();
    let _: HoldView = grid.ask_by_other("key-replayed", &asking(2)).await.ok();
    assert_eq!(grid.free().await, 4);
    let mut grid = grid.restarted().await;
    let _: HoldView = grid.ask("key-restart", &late).await.ok();
    grid.too_late().await;
    // The same act, by its own id, is there already.
    assert_eq!(grid.ask("key-too-late", &late).await.code(), ProblemCode::AlreadyTaken);
    assert_eq!(grid.free().await, 2);
}
