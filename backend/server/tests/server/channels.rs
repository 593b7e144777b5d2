//! Channels: made, shown once, fetched, confirmed and ended by the links of letters.

use actix_web::http::{Method, StatusCode};
use chrono::TimeDelta;
use ical::parser::ical::component::IcalCalendar;
use serde_json::{Value, json};
use spareloop_api::channels::{ChannelMade, ChannelView, Channels, MailService};
use spareloop_api::problem::ProblemCode;
use spareloop_domain::telling::{ChannelState, Takes};
use spareloop_server::config::telling::{MailConfig, MailTls, TellingConfig};
use spareloop_server::jobs;
use spareloop_server::telling::Telling;
use spareloop_server::telling::links::LetterLink;

use crate::browser::Browser;
use crate::exchange::Pair;
use crate::farm::Farm;
use crate::pages_job::Loop;
use crate::yard::{Answer, Call, new_id};

/// Letters are set up, by a mail server where nobody listens: what goes out is another test's.
fn with_letters() -> Telling {
    let mail = MailConfig {
        server: "127.0.0.1".into(),
        port: 9,
        tls: MailTls::None,
        sign_in: None,
        from: "Invented Fen Loop <loop@farm.example>".parse().unwrap(),
    };
    Telling::new(&TellingConfig { mail: Some(mail), ..TellingConfig::default() }).unwrap()
}

async fn add(pair: &Pair, farm: &Farm, body: &Value) -> Answer {
    pair.act(farm, "/channels", body).await
}

async fn made(pair: &Pair, farm: &Farm, body: &Value) -> ChannelMade {
    add(pair, farm, body).await.ok()
}

async fn list(pair: &Pair, farm: &Farm) -> Channels {
    pair.yard.send(Call::get("/channels").by(farm.token())).await.ok()
}

async fn fetch(pair: &Pair, address: &str) -> Answer {
    pair.yard.send(Call::new(Method::GET, &path_of(address))).await
}

fn path_of(address: &str) -> String {
    address.strip_prefix("http://localhost:8470").unwrap().to_owned()
}

fn address(made: &ChannelMade) -> String {
    made.address.clone().unwrap().0
}

#[actix_web::test]
async fn without_a_mail_server_letters_are_refused_in_words_and_all_else_works() {
    let pair = Pair::new().await;
    let refused = add(&pair, &pair.giver, &json!({"kind": "mail", "address": "a@b.example"})).await;
    assert_eq!(refused.code(), ProblemCode::NotInThatState);
    assert!(refused.problem().detail.contains("E-mail is not set up"), "{}", refused.text());
    let feed = made(&pair, &pair.giver, &json!({"kind": "feed"})).await;
    assert_eq!(fetch(&pair, &address(&feed)).await.status, StatusCode::OK);
    let listed = list(&pair, &pair.giver).await;
    assert_eq!((listed.mail, listed.channels.len()), (MailService::NotSetUp, 1));
}

#[actix_web::test]
async fn a_feed_holds_what_the_farm_was_told_and_no_other_farm_and_says_when_nothing_changed() {
    let pair = Pair::new().await;
    let [givers, takers] = [&pair.giver, &pair.taker];
    let givers = address(&made(&pair, givers, &json!({"kind": "feed"})).await);
    let takers = address(&made(&pair, takers, &json!({"kind": "feed"})).await);
    let offer = pair.offer(10).await;
    assert!(pair.ask(&offer, 4).await.status.is_success());
    let answer = fetch(&pair, &givers).await;
    assert_eq!(answer.header("content-type"), Some("application/atom+xml; charset=utf-8"));
    let feed = feed_rs::parser::parse(&answer.body[..]).unwrap();
    assert_eq!(feed.entries.len(), 1);
    let title = feed.entries[0].title.as_ref().unwrap();
    assert!(title.content.contains("asks you to hold 4 of 'Ember Lantern'"), "{title:?}");
    let other = feed_rs::parser::parse(&fetch(&pair, &takers).await.body[..]).unwrap();
    assert!(other.entries.is_empty());

    let tag = answer.header("etag").unwrap().to_owned();
    let again = Call::new(Method::GET, &path_of(&givers)).header("if-none-match", &tag);
    let again = pair.yard.send(again).await;
    assert_eq!((again.status, again.body.len()), (StatusCode::NOT_MODIFIED, 0));
}

/// As another program reads it: the `ical` crate.
fn read(answer: &Answer) -> IcalCalendar {
    ical::IcalParser::new(&answer.body[..]).next().unwrap().unwrap()
}

fn values(calendar: &IcalCalendar, name: &str) -> Vec<String> {
    let of = |event: &ical::parser::ical::component::IcalEvent| {
        let found = event.properties.iter().find(|property| property.name == name);
        found.and_then(|property| property.value.clone()).unwrap_or_default()
    };
    calendar.events.iter().map(of).collect()
}

#[actix_web::test]
async fn a_calendar_has_looks_lapsing_holds_and_needed_wants_of_its_own_farm() {
    let pair = Pair::new().await;
    let givers = address(&made(&pair, &pair.giver, &json!({"kind": "calendar"})).await);
    let takers = address(&made(&pair, &pair.taker, &json!({"kind": "calendar"})).await);
    let offer = pair.offer(10).await;
    let held: Value = pair.ask(&offer, 4).await.ok();
    let want = json!({"want": new_id(), "variety": "Moss Drum", "unit": "division", "count": 6,
        "needed_by": "2027-04-20"});
    let _: Value = pair.act(&pair.taker, "/wants", &want).await.ok();

    let answer = fetch(&pair, &givers).await;
    assert_eq!(answer.header("content-type"), Some("text/calendar; charset=utf-8"));
    let calendar = read(&answer);
    // 40 divisions begun on 1 November and never looked at: overdue, so on the day itself.
    let titles = values(&calendar, "SUMMARY");
    assert_eq!(titles.len(), 2, "{titles:?}");
    assert_eq!(titles[0], "Look at 1 lot");
    assert!(titles[1].starts_with("Hold lapses: 4 divisions of 'Ember Lantern' for"), "{titles:?}");
    let until = held["until"].as_str().unwrap().parse::<chrono::DateTime<chrono::Utc>>().unwrap();
    let starts = values(&calendar, "DTSTART");
    assert_eq!(starts, ["20270201".to_owned(), until.format("%Y%m%dT%H%M%SZ").to_string()]);

    let calendar = read(&fetch(&pair, &takers).await);
    let titles = values(&calendar, "SUMMARY");
    assert!(titles[0].contains("from Invented farm of dora"), "{titles:?}");
    assert_eq!(titles[1], "Needed: 6 divisions of 'Moss Drum'");
    assert_eq!(values(&calendar, "DTSTART")[1], "20270420");
    // What was noted since moves the day; what was promised stays as it was.
    pair.yard.wait(TimeDelta::days(3));
    jobs::lapse(&pair.yard.house).await.unwrap();
    let titles = values(&read(&fetch(&pair, &takers).await), "SUMMARY");
    assert_eq!(titles, ["Needed: 6 divisions of 'Moss Drum'"], "what has lapsed is gone");
}

#[actix_web::test]
async fn a_secret_address_is_shown_once_works_until_it_is_remade_and_lies_nowhere() {
    let pair = Pair::new().await;
    let key = "key-of-one-feed";
    let call = || Call::post("/channels", &json!({"kind": "feed"})).key(key).by(pair.giver.token());
    let one: ChannelMade = pair.yard.send(call()).await.ok();
    let again: ChannelMade = pair.yard.send(call()).await.ok();
    assert_eq!(address(&one), address(&again), "a lost answer is given again");
    let old = address(&one);
    let listed = serde_json::to_string(&list(&pair, &pair.giver).await).unwrap();
    let token = old.split("token=").nth(1).unwrap();
    assert!(!listed.contains(token), "the list shows no secret");

    let path = format!("/channels/{}/remake", one.channel.channel);
    let remade: ChannelMade = pair.act(&pair.giver, &path, &json!({})).await.ok();
    assert_eq!(fetch(&pair, &old).await.code(), ProblemCode::NotFound);
    assert_eq!(fetch(&pair, &address(&remade)).await.status, StatusCode::OK);
    let path = format!("/channels/{}/end", one.channel.channel);
    let ended: ChannelView = pair.act(&pair.giver, &path, &json!({})).await.ok();
    assert_eq!(ended.state, ChannelState::Ended);
    assert_eq!(fetch(&pair, &address(&remade)).await.code(), ProblemCode::NotFound);
    assert_eq!(fetch(&pair, "http://localhost:8470/feed.atom?token=").await.status, 404);
    assert_eq!(fetch(&pair, "http://localhost:8470/feed.atom").await.status, 400);

    let webhook = json!({"kind": "webhook", "url": "https://9.9.9.9/told"});
    let secret = made(&pair, &pair.giver, &webhook).await.secret.unwrap().0;
    let new = address(&remade);
    let secrets = [token, new.split("token=").nth(1).unwrap(), &secret];
    for file in std::fs::read_dir(pair.yard.folder()).unwrap() {
        let bytes = std::fs::read(file.unwrap().path()).unwrap();
        for secret in secrets {
            let found = bytes.windows(secret.len()).any(|part| part == secret.as_bytes());
            assert!(!found, "a secret lies in the database");
        }
    }
}

#[actix_web::test]
async fn a_webhook_into_the_servers_own_network_or_in_the_clear_is_refused_and_says_why() {
    let pair = Pair::new().await;
    for (url, why) in [
        ("https://127.0.0.1/told", "not of the open internet"),
        ("https://[::1]:8470/told", "not of the open internet"),
        ("https://169.254.169.254/latest/meta-data", "not of the open internet"),
        ("https://192.168.1.20/", "not of the open internet"),
        ("https://localhost/told", "not of the open internet"),
        ("http://9.9.9.9/told", "https://"),
        ("told", "written as"),
    ] {
        let refused = add(&pair, &pair.giver, &json!({"kind": "webhook", "url": url})).await;
        assert_eq!(refused.code(), ProblemCode::Refused, "{url}");
        assert!(refused.problem().detail.contains(why), "{url}: {}", refused.text());
    }
    assert!(list(&pair, &pair.giver).await.channels.is_empty());
}

#[actix_web::test]
async fn another_farms_channel_looks_as_if_it_were_not_there() {
    let pair = Pair::new().await;
    let feed = made(&pair, &pair.giver, &json!({"kind": "feed"})).await;
    assert!(list(&pair, &pair.taker).await.channels.is_empty());
    for act in ["end", "remake"] {
        let path = format!("/channels/{}/{act}", feed.channel.channel);
        let foreign = pair.act(&pair.taker, &path, &json!({})).await;
        let path = format!("/channels/{}/{act}", new_id());
        let missing = pair.act(&pair.taker, &path, &json!({})).await;
        assert_eq!((foreign.code(), foreign.text()), (ProblemCode::NotFound, missing.text()));
    }
    assert_eq!(fetch(&pair, &address(&feed)).await.status, StatusCode::OK);
}

/// A pair whose giver has asked for letters, and the path of the letter's link.
async fn asked(what: LetterLink) -> (Pair, String) {
    let pair = Pair::telling(with_letters()).await;
    let mail = json!({"kind": "mail", "address": "ada@farm.example", "takes": "both"});
    let made = made(&pair, &pair.giver, &mail).await;
    assert!(made.secret.is_none() && made.address.is_none(), "a letter's secret goes by letter");
    assert_eq!(made.channel.state, ChannelState::Unconfirmed);
    assert_eq!(made.channel.takes, Some(Takes::Both));
    let link = path_of(&what.address(&pair.yard.house, made.channel.channel));
    (pair, link)
}

async fn state(pair: &Pair) -> ChannelState {
    list(pair, &pair.giver).await.channels[0].state
}

#[actix_web::test]
async fn opening_the_link_of_a_letter_does_nothing_and_the_button_confirms_once() {
    let (pair, link) = asked(LetterLink::Confirm).await;
    // Whoever reads the letters needs no sign-in here.
    let mut reader = Browser::default();
    let page = reader.open(&pair.yard, &link).await;
    page.must_say("Every letter can end that again");
    assert_eq!(state(&pair).await, ChannelState::Unconfirmed);
    let form = page.forms().into_iter().find(|form| form.action == link).unwrap();
    let page = reader.send_form(&pair.yard, form.clone(), &[]).await;
    page.must_say("Letters go to ada@farm.example from now on");
    assert_eq!(state(&pair).await, ChannelState::Open);
    let page = reader.send_form(&pair.yard, form, &[]).await;
    assert_eq!(page.status, StatusCode::GONE);
    page.must_say("That link no longer works");
}

#[actix_web::test]
async fn a_mail_program_ends_the_letters_with_one_post_and_is_led_nowhere() {
    let (pair, link) = asked(LetterLink::End).await;
    let confirm = path_of(
        &LetterLink::Confirm
            .address(&pair.yard.house, list(&pair, &pair.giver).await.channels[0].channel),
    );
    let press = |link: &str| {
        // RFC 8058, 3.1 and 3.2: this body, no cookie, and no redirect in the answer.
        let call = Call::new(Method::POST, link);
        call.raw("application/x-www-form-urlencoded", "List-Unsubscribe=One-Click")
    };
    assert_eq!(pair.yard.send(press(&confirm)).await.status, StatusCode::OK);
    let opened = pair.yard.send(Call::new(Method::GET, &link)).await;
    assert_eq!((opened.status, state(&pair).await), (StatusCode::OK, ChannelState::Open));
    for _ in 0..2 {
        let answer = pair.yard.send(press(&link)).await;
        assert_eq!((answer.status, answer.header("location")), (StatusCode::OK, None));
        assert_eq!(state(&pair).await, ChannelState::Ended);
    }
    let ended = &list(&pair, &pair.giver).await.channels[0];
    assert_eq!(ended.ended_why.as_deref(), Some("whoever reads the letters ended it"));
}

#[actix_web::test]
async fn a_link_with_a_made_up_secret_or_one_for_something_else_does_nothing() {
    let (pair, link) = asked(LetterLink::End).await;
    let other = link.replace("/end?", "/confirm?");
    let cut = link[..link.len() - 1].to_owned();
    for wrong in [other, cut, "/letters/end".into(), format!("/letters/end?channel={}", new_id())] {
        for method in [Method::GET, Method::POST] {
            let answer = pair.yard.send(Call::new(method, &wrong)).await;
            assert_eq!(answer.status, StatusCode::GONE, "{wrong}");
        }
    }
    assert_eq!(state(&pair).await, ChannelState::Unconfirmed);
}

#[actix_web::test]
async fn a_grower_makes_a_calendar_by_page_and_its_address_is_shown_once() {
    let mut it = Loop::new().await;
    let page = it.dora.open(&it.yard, "/channels").await;
    page.must_say("E-mail is not set up on this server");
    let page = it.dora.send(&it.yard, &page, "/channels/calendar", &[]).await;
    page.must_say("It is shown this once");
    let text = page.text();
    let address = text.split(' ').find(|word| word.contains("/calendar.ics?token=")).unwrap();
    let path = address.strip_prefix("http://localhost:8470").unwrap();
    let fetched = it.yard.send(Call::new(Method::GET, path)).await;
    assert!(fetched.text().starts_with("BEGIN:VCALENDAR\r\n"));

    let page = it.dora.open(&it.yard, "/channels").await;
    assert!(!page.says("token="), "{}", page.text());
    let end = page.link_of_form("/end");
    let page = it.dora.send(&it.yard, &page, &end, &[]).await;
    page.must_say("The channel is ended").must_say("the farm ended it");
    assert_eq!(it.yard.send(Call::new(Method::GET, path)).await.status, StatusCode::NOT_FOUND);

    let typed = [("url", "https://10.0.0.7/told")];
    let page = it.dora.send(&it.yard, &page, "/channels/webhook", &typed).await;
    assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
    page.must_say(
        "Address of the webhook: it leads to an address that is not of the open internet",
    );
    assert!(page.html.contains("value=\"https://10.0.0.7/told\""), "what was typed is kept");
}
