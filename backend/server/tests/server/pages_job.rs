//! The whole job by browser alone, and what its pages do when something is wrong.

use serde_json::json;
use spareloop_api::people::{DeviceRegistered, Tokens};
use spareloop_domain::words::{DeviceId, LotId};

use crate::browser::{Browser, Shown};
use crate::farm::{Chain, Farm};
use crate::yard::{Call, PASSWORD, Person, Yard, new_id};

/// A network whose coordinator and two farms came by their browsers.
pub(crate) struct Loop {
    pub(crate) yard: Yard,
    pub(crate) clara: Browser,
    pub(crate) dora: Browser,
    pub(crate) emil: Browser,
    pub(crate) giver: Farm,
    pub(crate) lot: LotId,
}

impl Loop {
    pub(crate) async fn new() -> Self {
        let yard = Yard::empty().await;
        let mut clara = Browser::default();
        let page = clara.open(&yard, &format!("/set-up?token={}", encoded_token())).await;
        let typed = [("login", "clara"), ("display_name", "Clara"), ("password", PASSWORD)];
        let page = clara.send(&yard, &page, "/set-up", &typed).await;
        page.must_say("Your sign-in is made").must_say("Make the network");
        let page = clara.send(&yard, &page, "/network", &[("name", "Invented Fen Loop")]).await;
        page.must_say("Now invite the farms");
        let dora = join(&yard, &mut clara, "dora", "Invented Ash Farm").await;
        let emil = join(&yard, &mut clara, "emil", "Invented Elm Farm").await;
        let mut giver = device(&yard, "dora").await;
        let lot = giver.stores(&yard, "Ember Lantern", 40).await;
        Self { yard, clara, dora, emil, giver, lot }
    }

    /// Offers some of the giver's lot; answers the offer's page.
    pub(crate) async fn offer(&mut self, count: &str) -> Shown {
        let page = self.dora.open(&self.yard, &format!("/offers/new?lot={}", self.lot)).await;
        let typed = [("count", count), ("smallest_parcel", "2")];
        self.dora.send(&self.yard, &page, "/offers/new", &typed).await
    }

    /// Asks for some of an offer; answers the hold's page.
    pub(crate) async fn ask(&mut self, offer: &str, count: &str) -> Shown {
        let action = format!("{offer}/ask");
        let page = self.emil.open(&self.yard, &action).await;
        let page = self.emil.send(&self.yard, &page, &action, &[("count", count)]).await;
        self.emil.send(&self.yard, &page, &action, &[]).await
    }
}

fn encoded_token() -> String {
    Yard::set_up_token().replace(' ', "%20")
}

async fn join(yard: &Yard, clara: &mut Browser, login: &str, farm: &str) -> Browser {
    let page = clara.open(yard, "/network").await;
    let page = clara.send(yard, &page, "/network/invitations", &[("for_whom", farm)]).await;
    page.must_say("Pass this code on");
    let code = page.html.split("class=\"code\">").nth(1).unwrap().split('<').next().unwrap();
    let again = clara.open(yard, "/network").await;
    assert!(!again.html.contains(code), "a code is shown once");
    let mut browser = Browser::default();
    let page = browser.open(yard, &format!("/join?code={code}")).await;
    let typed =
        [("login", login), ("display_name", login), ("password", PASSWORD), ("farm_name", farm)];
    let page = browser.send(yard, &page, "/join", &typed).await;
    page.must_say("Your farm has joined").must_say(farm);
    browser
}

/// The laptop that keeps the farm's stock book.
async fn device(yard: &Yard, login: &str) -> Farm {
    let body = json!({"login": login, "password": PASSWORD});
    let tokens: Tokens = yard.send(Call::post("/sign-in", &body)).await.ok();
    let me = yard.me(&tokens).await;
    let (farm, device) = (me.farm.clone().unwrap().id, DeviceId::new(new_id()));
    let body = json!({"device": device, "farm": farm, "name": "laptop in the house"});
    let call = Call::post("/devices", &body).once().by(&tokens.access_token.0);
    let made: DeviceRegistered = yard.send(call).await.ok();
    let person = Person { tokens, me };
    Farm { person, device_token: made.device_token.0, chain: Chain::new(farm, device) }
}

/// A page's address without its query.
fn path(page: &Shown) -> String {
    page.address.split('?').next().unwrap().to_owned()
}

#[actix_web::test]
async fn a_parcel_passes_from_set_up_to_the_owed_book_by_browser_alone() {
    let mut it = Loop::new().await;
    it.dora.open(&it.yard, "/").await.must_say("Ember Lantern").must_say("in store");
    let page = it.offer("10").await;
    page.must_say("Offered").must_say("10 divisions free of 10").must_say("Provisional until");
    page.must_say("no proof that there are none");
    let offer = path(&page);

    let page = it.emil.open(&it.yard, "/wants/new").await;
    let typed = [("variety", "ember lantern"), ("count", "6"), ("unit", "division")];
    let page = it.emil.send(&it.yard, &page, "/wants/new", &typed).await;
    page.must_say("10 of 10 free").must_say("6 of 6 open");
    let page = it.emil.open(&it.yard, "/matches").await;
    page.must_say("Invented Ash Farm").must_say("6 divisions of Ember Lantern");
    assert_eq!(page.link("/offers/"), offer);

    let action = format!("{offer}/ask");
    let page = it.emil.open(&it.yard, &action).await;
    let typed = [("count", "6"), ("worth", "1,5"), ("note", "for the slope & the ditch")];
    let page = it.emil.send(&it.yard, &page, &action, &typed).await;
    page.must_say("Check before you ask").must_say("1.5 each, 9.0 in all");
    let page = it.emil.send(&it.yard, &page, &action, &[]).await;
    page.must_say("held for you").must_say("for the slope & the ditch");
    let hold = path(&page);

    it.dora.open(&it.yard, "/").await.must_say("Agree or release");
    let action = format!("{hold}/agree");
    let page = it.dora.open(&it.yard, &action).await;
    page.must_say("Check before you agree").must_say("Invented Elm Farm");
    let page = it.dora.send(&it.yard, &page, &action, &[]).await;
    page.must_say("Agreed. Both farms can see it.");

    let action = format!("{hold}/hand-over");
    let page = it.dora.open(&it.yard, &action).await;
    let page = it.dora.send(&it.yard, &page, &action, &[("condition", "firm, eyed")]).await;
    page.must_say("Check before you hand over").must_say("6 divisions of Ember Lantern");
    let page = it.dora.send(&it.yard, &page, &action, &[]).await;
    page.must_say("Handed over.").must_say("not confirmed yet");

    it.emil.open(&it.yard, "/").await.must_say("Confirm what arrived");
    let action = format!("{hold}/receipt");
    let page = it.emil.open(&it.yard, &action).await;
    page.must_say("firm, eyed");
    let page = it.emil.send(&it.yard, &page, &action, &[("received", "5")]).await;
    page.must_say("Check before you confirm").must_say("1.5 each, 7.5 in all");
    let page = it.emil.send(&it.yard, &page, &action, &[]).await;
    page.must_say("Received.").must_say("5 divisions on");

    it.clara
        .open(&it.yard, "/values")
        .await
        .must_say("Values by variety")
        .must_say("Ember Lantern");
    it.dora.open(&it.yard, "/owed").await.must_say("Invented Ash Farm is owed 7.5");
    it.emil.open(&it.yard, "/owed").await.must_say("Invented Elm Farm owes the network 7.5");
    it.clara.open(&it.yard, "/owed").await.must_say("Invented Elm Farm owes 7.5");
    it.emil.open(&it.yard, "/").await.must_say("Ember Lantern").must_say("5 in store");
}

#[actix_web::test]
async fn pressing_a_button_twice_acts_once() {
    let mut it = Loop::new().await;
    let page = it.dora.open(&it.yard, &format!("/offers/new?lot={}", it.lot)).await;
    let form = page.form("/offers/new");
    let typed = [("count", "10"), ("smallest_parcel", "2")];
    let first = it.dora.send_form(&it.yard, form.clone(), &typed).await;
    let second = it.dora.send_form(&it.yard, form, &typed).await;
    assert_eq!(first.address, second.address);
    let sheet = it.emil.open(&it.yard, "/sheet").await;
    assert_eq!(sheet.html.matches("10 of 10 free").count(), 1, "{}", sheet.text());
}

#[actix_web::test]
async fn a_form_with_a_mistake_keeps_what_was_typed_and_leads_to_the_field() {
    let mut it = Loop::new().await;
    let page = it.emil.open(&it.yard, "/wants/new").await;
    let typed = [("variety", "Ember Lantern"), ("count", "4o"), ("conditions", "by <hand> only")];
    let page = it.emil.send(&it.yard, &page, "/wants/new", &typed).await;
    assert_eq!(page.status.as_u16(), 422);
    assert!(page.title().starts_with("Error: Want"), "{}", page.title());
    assert!(page.html.contains("<a href=\"#count\">How many: "), "{}", page.html);
    let form = page.form("/wants/new");
    for (name, value) in typed {
        assert!(form.fields.contains(&(name.to_owned(), value.to_owned())), "{form:?}");
    }
    let page = it.emil.send_form(&it.yard, form, &[("count", "40")]).await;
    page.must_say("40 of 40 open").must_say("by <hand> only");
}

#[actix_web::test]
async fn asking_for_more_than_is_free_says_how_many_are_and_keeps_the_form() {
    let mut it = Loop::new().await;
    let offer = path(&it.offer("10").await);
    let page = it.ask(&offer, "11").await;
    assert_eq!(page.status.as_u16(), 409);
    assert!(page.title().starts_with("Error: "), "{}", page.title());
    page.must_say("11 asked for, 10 free").must_say("Ask for what is free");
    let fields = page.form(&format!("{offer}/ask")).fields;
    assert!(fields.contains(&("count".to_owned(), "11".to_owned())), "{fields:?}");
}

#[actix_web::test]
async fn what_is_checked_before_it_binds_can_be_changed_without_typing_it_again() {
    let mut it = Loop::new().await;
    let offer = path(&it.offer("10").await);
    let action = format!("{offer}/ask");
    let page = it.emil.open(&it.yard, &action).await;
    let page = it.emil.send(&it.yard, &page, &action, &[("note", "Sunday, please")]).await;
    let page = it.emil.open(&it.yard, &page.link(&format!("{action}?"))).await;
    let fields = page.form(&action).fields;
    assert!(fields.contains(&("note".to_owned(), "Sunday, please".to_owned())), "{fields:?}");
    it.emil.open(&it.yard, "/holds").await.must_say("None.");
}

#[actix_web::test]
async fn a_hold_that_is_not_wanted_any_more_is_released_by_either_side() {
    let mut it = Loop::new().await;
    let offer = path(&it.offer("10").await);
    let hold = path(&it.ask(&offer, "4").await);
    let action = format!("{hold}/release");
    let page = it.emil.open(&it.yard, &action).await;
    let page = it.emil.send(&it.yard, &page, &action, &[("why", "found some at home")]).await;
    page.must_say("Released.").must_say("found some at home");
    it.dora.open(&it.yard, &offer).await.must_say("10 divisions free");
    let late = it.dora.open(&it.yard, &format!("{hold}/agree")).await;
    let page = it.dora.send(&it.yard, &late, &format!("{hold}/agree"), &[]).await;
    assert_eq!(page.status.as_u16(), 409);
    page.must_say("released");
}

#[actix_web::test]
async fn a_loss_that_cuts_a_hold_is_told_on_both_farms_starts() {
    let mut it = Loop::new().await;
    let offer = path(&it.offer("10").await);
    it.ask(&offer, "8").await;
    it.giver.loses(&it.yard, it.lot, 40, 37).await;
    it.dora.open(&it.yard, "/").await.must_say("What the farm was told");
    it.emil.open(&it.yard, "/").await.must_say("What the farm was told");
    it.emil.open(&it.yard, "/holds").await.must_say("cut");
}

#[actix_web::test]
async fn offers_wants_and_invitations_are_withdrawn_from_their_pages() {
    let mut it = Loop::new().await;
    let page = it.offer("10").await;
    let action = format!("{}/withdraw", path(&page));
    it.dora.send(&it.yard, &page, &action, &[]).await.must_say("The offer is withdrawn");
    let page = it.emil.open(&it.yard, "/wants/new").await;
    let typed = [("variety", "Moss Drum"), ("count", "6")];
    let page = it.emil.send(&it.yard, &page, "/wants/new", &typed).await;
    let withdraw =
        page.forms().into_iter().find(|form| form.action.starts_with("/wants/")).unwrap();
    let page = it.emil.send_form(&it.yard, withdraw, &[]).await;
    page.must_say("The want is withdrawn").must_say("Nothing is spare and nothing is short");
    let page = it.clara.open(&it.yard, "/network").await;
    let page = it.clara.send(&it.yard, &page, "/network/invitations", &[("for_whom", "x")]).await;
    let start = "/network/invitations/";
    let withdraw = page
        .forms()
        .into_iter()
        .find(|form| form.action.starts_with(start) && form.action.ends_with("/withdraw"));
    let page = it.clara.send_form(&it.yard, withdraw.unwrap(), &[]).await;
    page.must_say("The invitation is withdrawn");
}
