//! From an offer to a receipt, as two farms live it.

use chrono::TimeDelta;
use serde_json::{Value, json};
use spareloop_api::exchange::{
    Board, HoldView, Matches, Messages, OfferView, OwedBook, SignsOfDisease, WantView,
};
use spareloop_api::problem::ProblemCode;
use spareloop_api::stock::StockView;
use spareloop_domain::ledger::Body;
use spareloop_domain::ledger::body::{Receive, Send};
use spareloop_domain::words::{HoldId, LotId, UnitKind};
use spareloop_server::jobs;
use spareloop_server::telling::Telling;
use uuid::Uuid;

use crate::farm::{Farm, count};
use crate::yard::{Answer, Call, Person, Yard, new_id};

/// A network of a giver with 40 divisions and a taker.
pub(crate) struct Pair {
    pub(crate) yard: Yard,
    pub(crate) clara: Person,
    pub(crate) giver: Farm,
    pub(crate) taker: Farm,
    pub(crate) lot: LotId,
}

impl Pair {
    pub(crate) async fn new() -> Self {
        Self::telling(Telling::default()).await
    }

    pub(crate) async fn telling(telling: Telling) -> Self {
        let (yard, clara) = Yard::telling(telling).await;
        let mut giver = Farm::new(&yard, &clara, "dora").await;
        let taker = Farm::new(&yard, &clara, "emil").await;
        let lot = giver.stores(&yard, "Ember Lantern", 40).await;
        Self { yard, clara, giver, taker, lot }
    }

    pub(crate) async fn act(&self, farm: &Farm, path: &str, body: &Value) -> Answer {
        // Messages are told apart by their time.
        self.yard.wait(TimeDelta::seconds(1));
        self.yard.send(Call::post(path, body).once().by(farm.token())).await
    }

    pub(crate) async fn offer(&self, units: u16) -> OfferView {
        let body =
            json!({"offer": new_id(), "lot": self.lot, "count": units, "smallest_parcel": 2});
        self.act(&self.giver, "/offers", &body).await.ok()
    }

    /// The giver agrees to a hold of so many, and hands all of them over.
    pub(crate) async fn handed_over(&self, hold: HoldId, units: u16) -> HoldView {
        let path = format!("/holds/{hold}");
        let _: HoldView = self.act(&self.giver, &format!("{path}/agree"), &json!({})).await.ok();
        let body = json!({"hand_over": new_id(), "given": units, "on": "2027-02-01"});
        self.act(&self.giver, &format!("{path}/hand-over"), &body).await.ok()
    }

    /// The same, and the taker confirms all of them.
    pub(crate) async fn received(&self, hold: HoldId, units: u16) -> HoldView {
        let given = self.handed_over(hold, units).await;
        let path = format!("/hand-overs/{}/receipt", given.hand_over.unwrap().hand_over);
        let body = json!({"received": units, "on": "2027-02-01"});
        self.act(&self.taker, &path, &body).await.ok()
    }

    pub(crate) async fn want(&self, units: u16) -> WantView {
        let body = json!({"want": new_id(), "variety": "ember lantern", "unit": "division",
            "count": units});
        self.act(&self.taker, "/wants", &body).await.ok()
    }

    pub(crate) async fn ask(&self, offer: &OfferView, units: u16) -> Answer {
        let body = json!({"hold": new_id(), "count": units, "purpose": "swap",
            "unit_value_tenths": 10});
        self.act(&self.taker, &format!("/offers/{}/holds", offer.offer), &body).await
    }

    async fn sheet(&self) -> Board {
        self.yard.send(Call::get("/board").by(self.taker.token())).await.ok()
    }

    async fn told(&self, farm: &Farm) -> Vec<String> {
        let found: Messages = self.yard.send(Call::get("/messages").by(farm.token())).await.ok();
        found.messages.into_iter().map(|message| message.text).collect()
    }
}

#[actix_web::test]
async fn a_parcel_passes_from_offer_to_receipt_and_both_ledgers_and_the_owed_book_are_right() {
    let pair = Pair::new().await;
    let offer = pair.offer(10).await;
    assert_eq!(offer.history.in_store, count(40));
    assert_eq!(offer.history.signs_of_disease, SignsOfDisease::NoneNoted);
    assert!(offer.history.sentence.contains("expected"), "{}", offer.history.sentence);
    let want = pair.want(6).await;
    let matches: Matches = pair.yard.send(Call::get("/matches").by(pair.taker.token())).await.ok();
    assert_eq!(matches.matches[0].they_have[0].offer, offer.offer);
    assert_eq!(matches.matches[0].they_have[0].count, count(6));

    let body = json!({"hold": new_id(), "count": 6, "want": want.want, "purpose": "swap",
        "unit_value_tenths": 10});
    let held: HoldView =
        pair.act(&pair.taker, &format!("/offers/{}/holds", offer.offer), &body).await.ok();
    assert_eq!((held.state.as_str(), held.count), ("held", count(6)));
    assert_eq!(pair.sheet().await.offers[0].free, count(4));

    let hold = held.hold;
    let agreed: HoldView =
        pair.act(&pair.giver, &format!("/holds/{hold}/agree"), &json!({})).await.ok();
    assert_eq!(agreed.state, "agreed");
    let body = json!({"hand_over": new_id(), "given": 6, "on": "2027-02-01"});
    let given: HoldView =
        pair.act(&pair.giver, &format!("/holds/{hold}/hand-over"), &body).await.ok();
    let hand_over = given.hand_over.unwrap().hand_over;
    let body = json!({"received": 5, "on": "2027-02-01", "condition": "one broken"});
    let received: HoldView =
        pair.act(&pair.taker, &format!("/hand-overs/{hand_over}/receipt"), &body).await.ok();
    assert_eq!(received.state, "received");

    let sent = ledger_kind(&pair, &pair.giver, |body| match body {
        Body::Send(Send { count, .. }) => Some(count),
        _ => None,
    });
    assert_eq!(sent.await, [count(6)]);
    let came = ledger_kind(&pair, &pair.taker, |body| match body {
        Body::Receive(Receive { count, unit: UnitKind::Division, .. }) => Some(count),
        _ => None,
    });
    assert_eq!(came.await, [count(5)]);
    let stock: StockView = pair.yard.send(Call::get("/stock").by(pair.taker.token())).await.ok();
    assert_eq!((stock.lines[0].in_store, stock.lines[0].unit), (count(5), UnitKind::Division));

    let owed: OwedBook = pair.yard.send(Call::get("/owed").by(pair.giver.token())).await.ok();
    let balance = |farm: &Farm| {
        owed.balances.iter().find(|one| one.farm.id == farm.id()).unwrap().owed_tenths
    };
    assert_eq!(balance(&pair.giver) + balance(&pair.taker), 0);
    assert_eq!(balance(&pair.giver), owed.postings[0].tenths);
    assert_eq!(balance(&pair.giver), 50, "5 received at 10 tenths each");
}

async fn ledger_kind<T>(pair: &Pair, farm: &Farm, read: impl Fn(Body) -> Option<T>) -> Vec<T> {
    let page = farm.pull(&pair.yard, 0).await;
    page.entries.iter().filter_map(|one| read(one.entry.read_body().unwrap())).collect()
}

#[actix_web::test]
async fn a_double_submit_asks_for_one_hold() {
    let pair = Pair::new().await;
    let offer = pair.offer(10).await;
    let body = json!({"hold": new_id(), "count": 4, "purpose": "gift"});
    let call = || {
        Call::post(&format!("/offers/{}/holds", offer.offer), &body)
            .key("key-of-one-hold")
            .by(pair.taker.token())
    };
    let one: HoldView = pair.yard.send(call()).await.ok();
    let two: HoldView = pair.yard.send(call()).await.ok();
    assert_eq!(one.hold, two.hold);
    assert_eq!(pair.sheet().await.offers[0].free, count(6));
}

#[actix_web::test]
async fn more_than_is_free_and_less_than_is_sent_and_ones_own_offer_are_refused() {
    let pair = Pair::new().await;
    let offer = pair.offer(10).await;
    assert_eq!(pair.ask(&offer, 11).await.code(), ProblemCode::NotEnoughFree);
    assert_eq!(pair.ask(&offer, 1).await.code(), ProblemCode::Refused);
    let body = json!({"hold": new_id(), "count": 4, "purpose": "gift"});
    let own = pair.act(&pair.giver, &format!("/offers/{}/holds", offer.offer), &body).await;
    assert_eq!(own.code(), ProblemCode::Refused);
    let more = json!({"offer": new_id(), "lot": pair.lot, "count": 31, "smallest_parcel": 1});
    assert_eq!(pair.act(&pair.giver, "/offers", &more).await.code(), ProblemCode::NotEnoughFree);
    let nowhere = json!({"offer": new_id(), "lot": new_id(), "count": 1, "smallest_parcel": 1});
    assert_eq!(pair.act(&pair.giver, "/offers", &nowhere).await.code(), ProblemCode::NotFound);
}

#[actix_web::test]
async fn only_the_giver_agrees_and_a_hold_that_is_past_it_refuses() {
    let pair = Pair::new().await;
    let held: HoldView = pair.ask(&pair.offer(10).await, 4).await.ok();
    let path = format!("/holds/{}/agree", held.hold);
    assert_eq!(pair.act(&pair.taker, &path, &json!({})).await.code(), ProblemCode::NotAllowed);
    let release = format!("/holds/{}/release", held.hold);
    let why = json!({"why": "found some at home"});
    let released: HoldView = pair.act(&pair.taker, &release, &why).await.ok();
    assert_eq!(released.state, "released");
    let late = pair.act(&pair.giver, &path, &json!({})).await;
    assert_eq!(late.code(), ProblemCode::NotInThatState);
    assert!(pair.told(&pair.giver).await[0].contains("found some at home"));
}

#[actix_web::test]
async fn a_hold_lapses_at_its_time_whether_or_not_the_job_has_run() {
    let pair = Pair::new().await;
    let held: HoldView = pair.ask(&pair.offer(10).await, 4).await.ok();
    pair.yard.wait(TimeDelta::hours(73));
    // The sign-ins of the test are too old by now.
    let again = json!({"login": "emil", "password": crate::yard::PASSWORD});
    let tokens: spareloop_api::people::Tokens =
        pair.yard.send(Call::post("/sign-in", &again)).await.ok();
    let one = || Call::get(&format!("/holds/{}", held.hold)).by(&tokens.access_token.0);
    let before: HoldView = pair.yard.send(one()).await.ok();
    assert_eq!((before.state.as_str(), before.steps.len()), ("lapsed", 1));
    jobs::lapse(&pair.yard.house).await.unwrap();
    let after: HoldView = pair.yard.send(one()).await.ok();
    assert_eq!((after.state.as_str(), after.steps.len()), ("lapsed", 2));
    let board: Board = pair.yard.send(Call::get("/board").by(&tokens.access_token.0)).await.ok();
    assert_eq!(board.offers[0].free, count(10));
}

#[actix_web::test]
async fn a_lot_lost_to_rot_after_a_hold_cuts_it_and_tells_both_farms() {
    let mut pair = Pair::new().await;
    let offer = pair.offer(10).await;
    let held: HoldView = pair.ask(&offer, 8).await.ok();
    pair.yard.wait(TimeDelta::seconds(1));
    let pushed = pair.giver.loses(&pair.yard, pair.lot, 40, 37).await;
    assert_eq!((pushed.stored, pushed.refused.len()), (1, 0));
    let holds: Vec<HoldView> =
        pair.yard.send(Call::get("/holds").by(pair.taker.token())).await.ok();
    let state = |id: Uuid| holds.iter().find(|one| one.hold.uuid() == id).unwrap().state.clone();
    assert_eq!(state(held.hold.uuid()), "cut");
    let rest = holds.iter().find(|one| one.state == "held").unwrap();
    assert_eq!(rest.count, count(3));
    // The giver's own plan is short as well then, and both are told of that in the same moment.
    assert!(pair.told(&pair.taker).await.iter().any(|it| it.contains("was cut")));
    assert!(pair.told(&pair.giver).await.iter().any(|text| text.contains("cut")));
}

#[actix_web::test]
async fn a_withdrawn_offer_and_want_leave_the_sheet() {
    let pair = Pair::new().await;
    let (offer, want) = (pair.offer(10).await, pair.want(6).await);
    let sheet = pair.sheet().await;
    assert_eq!((sheet.offers.len(), sheet.wants.len()), (1, 1));
    let path = format!("/offers/{}/withdraw", offer.offer);
    let gone: OfferView = pair.act(&pair.giver, &path, &json!({})).await.ok();
    assert_eq!(gone.state, "withdrawn");
    let path = format!("/wants/{}/withdraw", want.want);
    let gone: WantView = pair.act(&pair.taker, &path, &json!({})).await.ok();
    assert_eq!(gone.state, "withdrawn");
    let sheet = pair.sheet().await;
    assert_eq!((sheet.offers.len(), sheet.wants.len()), (0, 0));
}

#[actix_web::test]
async fn the_sheet_comes_in_pages() {
    let pair = Pair::new().await;
    for _ in 0..3 {
        pair.offer(5).await;
    }
    let page = |query: String| {
        let call = Call::get(&format!("/board?{query}")).by(pair.taker.token());
        async { pair.yard.send(call).await }
    };
    let first: Board = page("limit=2".into()).await.ok();
    assert_eq!(first.offers.len(), 2);
    let rest: Board = page(format!("limit=2&after={}", first.offers[1].offer)).await.ok();
    assert_eq!(rest.offers.len(), 1);
    assert_eq!(page("limit=0".into()).await.code(), ProblemCode::BadRequest);
    assert_eq!(page("after=nothing".into()).await.code(), ProblemCode::BadRequest);
}

#[actix_web::test]
async fn the_sheet_shows_what_is_sought_by_variety_and_unit_kind() {
    let mut pair = Pair::new().await;
    let ember = pair.offer(5).await;
    pair.lot = pair.giver.stores(&pair.yard, "Moss Anthem", 20).await;
    let moss = pair.offer(6).await;
    pair.want(3).await;
    let sheet = |query: &'static str| {
        let call = Call::get(&format!("/board?{query}")).by(pair.taker.token());
        async { pair.yard.send(call).await }
    };
    let found = |board: &Board| {
        board.offers.iter().map(|offer| offer.offer).collect::<std::collections::BTreeSet<_>>()
    };
    let both: Board = sheet("unit=division").await.ok();
    assert_eq!(found(&both), [ember.offer, moss.offer].into());
    let one: Board = sheet("variety=EMBER%20lantern&unit=division").await.ok();
    assert_eq!((found(&one), one.wants.len()), ([ember.offer].into(), 1));
    let other: Board = sheet("variety=moss%20anthem").await.ok();
    assert_eq!((found(&other), other.wants.len()), ([moss.offer].into(), 0));
    let none: Board = sheet("variety=moss%20anthem&unit=clump").await.ok();
    assert!(none.offers.is_empty() && none.wants.is_empty());
    assert_eq!(sheet("unit=barrel").await.code(), ProblemCode::Refused);
}

#[actix_web::test]
async fn the_coordinator_sees_the_sheet_and_the_balances_and_gives_nothing() {
    let pair = Pair::new().await;
    pair.offer(10).await;
    let token = pair.clara.token();
    let board: Board = pair.yard.send(Call::get("/board").by(token)).await.ok();
    assert_eq!(board.offers.len(), 1);
    let owed: OwedBook = pair.yard.send(Call::get("/owed").by(token)).await.ok();
    assert_eq!(owed.balances.len(), 2);
    assert_eq!(pair.yard.send(Call::get("/stock").by(token)).await.code(), ProblemCode::NotAllowed);
}
