//! Who may open which page, and what every page owes to those who do.

use actix_web::http::Method;

use crate::browser::Browser;
use crate::pages_job::Loop;
use crate::yard::{PASSWORD, Yard, new_id};

/// Every page that a grower can open without an id.
const PAGES: [&str; 8] =
    ["/", "/sheet", "/values", "/wants/new", "/matches", "/holds", "/owed", "/channels"];

#[actix_web::test]
async fn a_form_without_its_token_changes_nothing() {
    let mut it = Loop::new().await;
    let open_to_all = ["/sign-in", "/sign-out", "/set-up", "/join"];
    let clara = [&open_to_all[..], &["/network", "/network/invitations"]].concat();
    let dora = [
        "/offers/new",
        "/wants/new",
        "/channels/mail",
        "/channels/webhook",
        "/channels/feed",
        "/channels/calendar",
    ];
    for (browser, addresses) in [(&mut it.clara, &clara[..]), (&mut it.dora, &dora[..])] {
        for address in addresses {
            for body in ["", "form_token=", "form_token=made-up", "key=12345678&name=x"] {
                let answer = browser.ask(&it.yard, &Method::POST, address, body).await;
                assert_eq!(answer.status.as_u16(), 403, "{address} with {body:?}");
                assert!(answer.text().contains("Nothing was changed"), "{}", answer.text());
            }
        }
    }
    it.clara.open(&it.yard, "/network").await.must_say("Clara");
}

#[actix_web::test]
async fn the_token_of_another_sign_in_is_refused() {
    let mut it = Loop::new().await;
    let page = it.dora.open(&it.yard, "/wants/new").await;
    let form = page.form("/wants/new");
    let typed = [("variety", "Moss Drum"), ("count", "3")];
    let page = it.emil.send_form(&it.yard, form, &typed).await;
    assert_eq!(page.status.as_u16(), 403);
    let sheet = it.emil.open(&it.yard, "/sheet").await;
    assert!(!sheet.says("Moss Drum"), "{}", sheet.text());
}

#[actix_web::test]
async fn a_visits_token_planted_beside_a_sign_in_opens_no_form_of_it() {
    let mut it = Loop::new().await;
    let mut elsewhere = Browser::default();
    let page = elsewhere.open(&it.yard, "/sign-in").await;
    let planted = page.form("/sign-in").fields.into_iter().find(|(name, _)| name == "form_token");
    let form = it.dora.open(&it.yard, "/wants/new").await.form("/wants/new");
    it.dora.cookies.extend(elsewhere.cookies);
    let (name, token) = planted.unwrap();
    let typed = [("variety", "Moss Drum"), ("count", "3"), (name.as_str(), token.as_str())];
    let page = it.dora.send_form(&it.yard, form, &typed).await;
    assert_eq!(page.status.as_u16(), 403, "{}", page.text());
    let sheet = it.dora.open(&it.yard, "/sheet").await;
    assert!(!sheet.says("Moss Drum"), "{}", sheet.text());
}

#[actix_web::test]
async fn what_is_not_the_farms_looks_as_if_it_were_not_there() {
    let mut it = Loop::new().await;
    let strangers = [
        format!("/holds/{}", new_id()),
        format!("/holds/{}/agree", new_id()),
        format!("/holds/{}/hand-over", new_id()),
        format!("/holds/{}/receipt", new_id()),
        format!("/holds/{}/release", new_id()),
        format!("/offers/{}", new_id()),
        format!("/offers/{}/ask", new_id()),
        format!("/offers/new?lot={}", new_id()),
        "/holds/no-id".to_owned(),
        "/nowhere".to_owned(),
    ];
    for address in strangers {
        let page = it.emil.open(&it.yard, &address).await;
        assert_eq!(page.status.as_u16(), 404, "{address}");
        assert!(page.title().starts_with("Error: "), "{}", page.title());
    }
    let offer = it.offer("10").await.address;
    let offer = offer.split('?').next().unwrap().to_owned();
    let hold = it.ask(&offer, "4").await.address;
    let hold = hold.split('?').next().unwrap().to_owned();
    // Another network's grower sees neither; nor does the other farm's lot open to Emil.
    it.yard.other_network("odo").await;
    let mut odo = sign_in(&it.yard, "odo").await;
    for address in [&offer, &hold] {
        let page = odo.open(&it.yard, address).await;
        assert_eq!(page.status.as_u16(), 404, "{address}");
        assert!(!page.html.contains("Ember Lantern"));
    }
    let page = it.emil.open(&it.yard, &format!("/offers/new?lot={}", it.lot)).await;
    assert_eq!(page.status.as_u16(), 404);
}

async fn sign_in(yard: &Yard, login: &str) -> Browser {
    let mut browser = Browser::default();
    let page = browser.open(yard, "/sign-in").await;
    let typed = [("login", login), ("password", PASSWORD)];
    let page = browser.send(yard, &page, "/sign-in", &typed).await;
    assert_eq!(page.status.as_u16(), 200, "{}", page.text());
    browser
}

#[actix_web::test]
async fn a_page_that_needs_a_sign_in_leads_to_it_and_on_to_the_page() {
    let it = Loop::new().await;
    let mut browser = Browser::default();
    let page = browser.open(&it.yard, "/holds?after=").await;
    assert!(page.address.starts_with("/sign-in?next="), "{}", page.address);
    let typed = [("login", "dora"), ("password", "not her password at all")];
    let page = browser.send(&it.yard, &page, "/sign-in", &typed).await;
    assert_eq!(page.status.as_u16(), 401);
    page.must_say("No sign-in has that name and password together");
    assert!(!page.html.contains("not her password"), "a password is never shown again");
    let typed = [("password", PASSWORD)];
    let page = browser.send(&it.yard, &page, "/sign-in", &typed).await;
    assert_eq!(page.address, "/holds?after=");
    let page = browser.send(&it.yard, &page, "/sign-out", &[]).await;
    page.must_say("You are signed out");
    assert!(browser.open(&it.yard, "/holds").await.address.starts_with("/sign-in"));
}

#[actix_web::test]
async fn signing_in_makes_a_new_cookie_so_that_a_planted_one_opens_nothing() {
    let it = Loop::new().await;
    let mut browser = Browser::default();
    browser.cookies.insert("spareloop".into(), "planted".into());
    let page = browser.open(&it.yard, "/sign-in").await;
    let typed = [("login", "dora"), ("password", PASSWORD)];
    browser.send(&it.yard, &page, "/sign-in", &typed).await;
    assert_ne!(browser.cookies["spareloop"], "planted");
}

#[actix_web::test]
async fn a_link_in_a_letter_does_not_end_a_sign_in() {
    let mut it = Loop::new().await;
    let signed_in = it.dora.cookies.clone();
    // From another site the sign-in's cookie doesn't come along (SameSite).
    let mut from_letter = Browser::default();
    from_letter.open(&it.yard, "/holds").await;
    it.dora.cookies.extend(from_letter.cookies);
    assert_eq!(it.dora.cookies["spareloop"], signed_in["spareloop"]);
    assert_eq!(it.dora.open(&it.yard, "/holds").await.address, "/holds");
}

#[actix_web::test]
async fn the_coordinators_page_is_for_the_coordinator() {
    let mut it = Loop::new().await;
    let page = it.dora.open(&it.yard, "/network").await;
    assert_eq!(page.status.as_u16(), 403);
    page.must_say("for the coordinator");
    let page = it.clara.open(&it.yard, "/holds").await;
    assert_eq!(page.status.as_u16(), 403);
}

#[actix_web::test]
async fn every_page_is_strict_small_and_well_made() {
    let mut it = Loop::new().await;
    it.offer("10").await;
    let style = it.dora.open(&it.yard, "/style.css").await.html;
    let mut pages = Vec::new();
    for address in PAGES {
        pages.push(it.dora.open(&it.yard, address).await);
    }
    pages.push(it.clara.open(&it.yard, "/network").await);
    pages.push(Browser::default().open(&it.yard, "/sign-in").await);
    pages.push(Browser::default().open(&it.yard, "/join").await);
    pages.push(Browser::default().open(&it.yard, "/nowhere").await);
    for page in pages {
        let policy = page.answer.header("content-security-policy").unwrap_or_default();
        assert!(policy.contains("default-src 'none'") && !policy.contains("unsafe"), "{policy}");
        assert_eq!(page.answer.header("x-content-type-options"), Some("nosniff"));
        assert_eq!(page.answer.header("cache-control"), Some("no-store"));
        // Smaller than 50 kB before it is compressed is smaller than that afterwards.
        assert!(page.html.len() + style.len() < 50_000, "{} is large", page.address);
        let html = &page.html;
        for forbidden in
            ["<script", " style=", " onclick", "http-equiv", "href=\"http", "src=\"http"]
        {
            assert!(!html.contains(forbidden), "{forbidden} on {}", page.address);
        }
        assert_eq!(html.matches("<h1>").count(), 1, "{}", page.address);
        assert!(html.contains("<html lang=\"en\">") && html.contains("class=\"skip\""));
        for form in page.forms().iter().filter(|form| form.method == Method::POST) {
            let token = form.fields.iter().find(|(name, _)| name == "form_token");
            assert!(token.is_some_and(|(_, token)| token.len() > 40), "{form:?}");
        }
        for id in labelled(html) {
            assert!(html.contains(&format!("<label for=\"{id}\">")), "{id} on {}", page.address);
        }
        for table in html.split("<table").skip(1) {
            let table = table.split("</table>").next().unwrap();
            assert!(table.contains("<caption>") && table.contains("scope=\"col\""), "{table}");
        }
    }
}

/// The ids of fields that people fill in.
fn labelled(html: &str) -> Vec<String> {
    ["<input id=\"", "<textarea id=\""]
        .iter()
        .flat_map(|start| html.split(start).skip(1))
        .map(|rest| rest.split('"').next().unwrap().to_owned())
        .collect()
}

#[actix_web::test]
async fn a_set_up_link_that_was_used_says_so_and_leads_to_the_sign_in() {
    let it = Loop::new().await;
    let mut late = Browser::default();
    let page = late.open(&it.yard, "/set-up?token=the%20link%20of%20the%20first%20start").await;
    let typed = [("login", "mo"), ("display_name", "Mo"), ("password", PASSWORD)];
    let page = late.send(&it.yard, &page, "/set-up", &typed).await;
    assert_eq!(page.status.as_u16(), 410);
    page.must_say("Set up already? Sign in");
}
