//! Rounds in the browser and over the interface: made, solved, answered; who sees what.

use actix_web::http::Method;
use serde_json::{Value, json};
use spareloop_api::channels::ChannelMade;
use spareloop_api::exchange::{HoldView, OfferView, TurnView, WantView};
use spareloop_api::problem::ProblemCode;
use spareloop_api::rounds::{ProposalView, RoundLine, RoundView};
use spareloop_server::solving;

use crate::browser::Browser;
use crate::farm::Farm;
use crate::yard::{Call, Person, Yard, new_id};

const VARIETIES: [&str; 3] = ["Ember Lantern", "Dusk Ferry", "Tin Orchard"];
const LOGINS: [&str; 3] = ["dora", "emil", "frida"];

/// Three farms, each with 20 units of what the next one lacks, and somebody who has no part in it.
struct Ring {
    yard: Yard,
    clara: Person,
    farms: Vec<Farm>,
    stranger: Farm,
}

impl Ring {
    async fn new() -> Self {
        let (yard, clara) = Yard::new().await;
        let mut farms = Vec::new();
        for (login, variety) in LOGINS.iter().zip(VARIETIES) {
            let mut farm = Farm::new(&yard, &clara, login).await;
            let lot = farm.stores(&yard, variety, 20).await;
            let body = json!({"offer": new_id(), "lot": lot, "count": 8, "smallest_parcel": 2});
            let _: OfferView = post(&yard, &farm, "/offers", &body).await;
            farms.push(farm);
        }
        for (at, variety) in VARIETIES.iter().enumerate() {
            let body =
                json!({"want": new_id(), "variety": variety, "unit": "division", "count": 6});
            let _: WantView = post(&yard, &farms[(at + 1) % 3], "/wants", &body).await;
        }
        let stranger = Farm::new(&yard, &clara, "gerda").await;
        Self { yard, clara, farms, stranger }
    }

    async fn round(&self, rules: Value) -> RoundView {
        let id = new_id();
        let body = json!({"round": id, "rules": rules});
        let call = Call::post("/rounds", &body).once().by(self.clara.token());
        let made: RoundLine = self.yard.send(call).await.ok();
        assert_eq!(made.state, "asked");
        solving::turn(&self.yard.house).await.unwrap();
        self.yard.send(Call::get(&format!("/rounds/{id}")).by(self.clara.token())).await.ok()
    }

    async fn proposals(&self, farm: &Farm) -> Vec<ProposalView> {
        self.yard.send(Call::get("/proposals").by(farm.token())).await.ok()
    }
}

async fn post<T: serde::de::DeserializeOwned>(
    yard: &Yard,
    farm: &Farm,
    path: &str,
    body: &Value,
) -> T {
    yard.send(Call::post(path, body).once().by(farm.token())).await.ok()
}

#[actix_web::test]
async fn a_round_is_proposed_to_those_with_a_part_in_it_and_to_nobody_else() {
    let ring = Ring::new().await;
    let round = ring.round(json!({"seconds": 2})).await;
    assert_eq!((round.line.state.as_str(), round.proposals.len()), ("proposed", 1));
    let proposal = &round.proposals[0];
    assert_eq!((proposal.farms.len(), proposal.lines.len()), (3, 3));
    let net: i64 = proposal.farms.iter().map(|part| part.given_tenths - part.got_tenths).sum();
    assert_eq!(net, 0, "what some give others get");
    for farm in &ring.farms {
        assert_eq!(ring.proposals(farm).await.len(), 1);
    }
    assert!(ring.proposals(&ring.stranger).await.is_empty());
    let path = format!("/proposals/{}", proposal.proposal);
    let missing = format!("/proposals/{}", new_id());
    let foreign = ring.yard.send(Call::get(&path).by(ring.stranger.token())).await;
    let absent = ring.yard.send(Call::get(&missing).by(ring.stranger.token())).await;
    assert_eq!(foreign.code(), ProblemCode::NotFound);
    assert_eq!(foreign.text(), absent.text());
    for act in ["accept", "decline"] {
        let call = Call::post(&format!("{path}/{act}"), &json!({})).once();
        let answer = ring.yard.send(call.by(ring.stranger.token())).await;
        assert_eq!(answer.code(), ProblemCode::NotFound, "{act}");
    }
    let elsewhere = ring.yard.other_network("hugo").await;
    let rounds: Vec<RoundLine> = ring.yard.send(Call::get("/rounds").by(&elsewhere)).await.ok();
    assert!(rounds.is_empty());
    let foreign = ring.yard.send(Call::get(&path).by(&elsewhere)).await;
    assert_eq!(foreign.code(), ProblemCode::NotFound);
}

#[actix_web::test]
async fn the_next_round_leaves_alone_what_an_open_proposal_is_about() {
    let ring = Ring::new().await;
    let first = ring.round(json!({"seconds": 2})).await;
    assert_eq!(first.proposals.len(), 1);
    let second = ring.round(json!({"seconds": 2})).await;
    assert_eq!(second.line.state, "nothing-found");
    let path = format!("/proposals/{}/decline", first.proposals[0].proposal);
    let declined: ProposalView = post(&ring.yard, &ring.farms[1], &path, &json!({})).await;
    assert_eq!(declined.state, "declined");
    let third = ring.round(json!({"seconds": 2})).await;
    assert_eq!(third.proposals.len(), 1, "what was in it goes into the next round");
}

#[actix_web::test]
async fn rules_that_can_not_be_are_refused_by_name() {
    let ring = Ring::new().await;
    for (rules, name) in [
        (json!({"most_farms": 5}), "most_farms"),
        (json!({"answer_hours": 0}), "answer_hours"),
        (json!({"swap_day": "2026-01-01", "place": "the barn"}), "swap_day"),
    ] {
        let body = json!({"round": new_id(), "rules": rules});
        let call = Call::post("/rounds", &body).once().by(ring.clara.token());
        let refused = ring.yard.send(call).await.problem();
        assert_eq!(refused.code, ProblemCode::Refused);
        assert!(refused.detail.starts_with(name), "{}", refused.detail);
    }
}

#[actix_web::test]
async fn a_coordinator_and_growers_do_all_of_it_by_browser() {
    let ring = Ring::new().await;
    let yard = &ring.yard;
    let mut clara = Browser::signed_in(yard, "clara").await;
    let page = clara.open(yard, "/rounds/loops/new").await;
    let page = clara.send(yard, &page, "/rounds/loops/new", &[("most_farms", "3")]).await;
    page.must_say("The round is made").must_say("asked for");
    solving::turn(&yard.house).await.unwrap();
    let page = clara.open(yard, &page.address).await;
    page.must_say("proposed to its farms").must_say("has not answered");
    let address = page.link("/proposals/");
    for (at, login) in LOGINS.iter().enumerate() {
        let mut grower = Browser::signed_in(yard, login).await;
        let page = grower.open(yard, "/rounds").await;
        let page = grower.open(yard, &page.link("/proposals/")).await;
        page.must_say("What each gives and gets").must_say("No reason is needed");
        let page = grower.send(yard, &page, &format!("{address}/accept"), &[]).await;
        page.must_say("Accepted.");
        let agreed = at == 2;
        assert_eq!(page.says("every farm of a loop accepted"), agreed, "{}", page.text());
    }
    let holds: Vec<HoldView> = yard.send(Call::get("/holds").by(ring.farms[0].token())).await.ok();
    let states: Vec<&str> = holds.iter().map(|hold| hold.state.as_str()).collect();
    assert_eq!(states, ["agreed", "agreed"]);

    let page = clara.open(yard, "/owed").await;
    let limit = page.link("/owed/");
    let page = clara.open(yard, &limit).await;
    let page = clara.send(yard, &page, &limit, &[("limit", "12.5")]).await;
    page.must_say("The limit is set").must_say("12.5");
    let page = clara.open(yard, "/rounds/timetable").await;
    let page = clara.send(yard, &page, "/rounds/timetable", &[("every_days", "14")]).await;
    page.must_say("every 14 days");
}

/// A farm's calendar with its lines unfolded.
async fn titles(yard: &Yard, calendar: &ChannelMade) -> String {
    let address = &calendar.address.as_ref().unwrap().0;
    let path = &address[address.find("/calendar.ics").unwrap()..];
    yard.send(Call::new(Method::GET, path)).await.text().replace("\r\n ", "")
}

#[actix_web::test]
async fn a_swap_day_has_lists_to_print_and_is_settled_by_browser() {
    let ring = Ring::new().await;
    let yard = &ring.yard;
    let mut clara = Browser::signed_in(yard, "clara").await;
    let page = clara.open(yard, "/rounds/swap-day/new").await;
    let typed = [("swap_day", "2027-03-14"), ("place", "the old barn, from 9")];
    clara.send(yard, &page, "/rounds/swap-day/new", &typed).await.must_say("The round is made");
    solving::turn(&yard.house).await.unwrap();
    let day = &ring.proposals(&ring.farms[0]).await[0];
    let calendar: ChannelMade =
        post(yard, &ring.farms[0], "/channels", &json!({"kind": "calendar"})).await;
    assert!(titles(yard, &calendar).await.contains("SUMMARY:Answer by now: a proposal to 3 farms"));
    for farm in &ring.farms {
        let path = format!("/proposals/{}/accept", day.proposal);
        let _: ProposalView = post(yard, farm, &path, &json!({})).await;
    }
    solving::turn(&yard.house).await.unwrap();
    let days = titles(yard, &calendar).await;
    assert!(days.contains("SUMMARY:Swap day: the old barn\\, from 9"), "{days}");
    assert!(days.contains("DTSTART;VALUE=DATE:20270314") && !days.contains("Answer by"), "{days}");
    let address = format!("/proposals/{}", day.proposal);
    let page = clara.open(yard, &format!("{address}/hall")).await;
    page.must_say("the old barn, from 9").must_say("Ember Lantern");
    let mut dora = Browser::signed_in(yard, "dora").await;
    let page = dora.open(yard, &format!("{address}/packing")).await;
    page.must_say("Invented farm of dora").must_say("Takes home");
    let page = clara.open(yard, &format!("{address}/settle")).await;
    let gone = ring.farms[2].id();
    let mut form = page.form(&format!("{address}/settle"));
    form.fields.retain(|(name, _)| !name.starts_with("absent-"));
    form.fields.push((format!("absent-{gone}"), "yes".to_owned()));
    let page = clara.send_form(yard, form, &[]).await;
    page.must_say("Settled").must_say("settled without Invented farm of frida");
}

#[actix_web::test]
async fn who_waits_in_line_is_called_when_something_comes_free() {
    let ring = Ring::new().await;
    let yard = &ring.yard;
    let board: spareloop_api::exchange::Board =
        yard.send(Call::get("/board").by(ring.farms[0].token())).await.ok();
    let offer = board.offers.iter().find(|it| it.farm.id == ring.farms[0].id()).unwrap().offer;
    let body = json!({"hold": new_id(), "count": 8, "purpose": "gift"});
    let path = format!("/offers/{offer}/holds");
    let held: HoldView = post(yard, &ring.farms[1], &path, &body).await;
    let mut gerda = Browser::signed_in(yard, "gerda").await;
    let page = gerda.open(yard, &format!("/offers/{offer}")).await;
    let wait = page.link(&format!("/offers/{offer}/wait"));
    let page = gerda.open(yard, &wait).await;
    let page = gerda.send(yard, &page, &wait, &[("count", "5"), ("purpose", "gift")]).await;
    page.must_say("You are in line").must_say("In line for what comes free");
    let turns: Vec<TurnView> = yard.send(Call::get("/turns").by(ring.farms[0].token())).await.ok();
    assert_eq!((turns.len(), turns[0].place), (1, Some(1)), "the giver sees the line");
    let path = format!("/holds/{}/release", held.hold);
    let _: HoldView = post(yard, &ring.farms[1], &path, &json!({"why": ""})).await;
    let holds: Vec<HoldView> = yard.send(Call::get("/holds").by(ring.stranger.token())).await.ok();
    assert_eq!((holds[0].state.as_str(), holds[0].count), ("held", crate::farm::count(5)));
}
