//! Where farms are and what is asked for between regions; the coordinator notes and sets it.

use actix_web::web::ServiceConfig;
use actix_web::{get, post};
use askama::Template;
use spareloop_api::movement::{
    MovementRuleView, MovementView, Passage, SetMovementRule, SetRegion,
};
use spareloop_domain::words::FarmId;

use super::field::Choice;
use super::form::{Form, Posted};
use super::layout::{Answer, Page, see_other};
use super::required::{self, Required};
use super::say;
use super::session::Signed;
use crate::acts::{movement, rounds};
use crate::auth::caller::{Coordinator, Member};
use crate::error::ServerError;

pub(super) fn configure(config: &mut ServiceConfig) {
    config
        .service(look)
        .service(ask_region)
        .service(set_region)
        .service(ask_rule)
        .service(set_rule);
}

/// Whether the visitor runs the network.
#[derive(PartialEq, Eq)]
enum Runs {
    It,
    Not,
}

#[derive(Template)]
#[template(path = "movement.html")]
struct MovementPage {
    page: Page,
    runs: Runs,
    view: MovementView,
}

#[derive(Template)]
#[template(path = "movement_region.html")]
struct RegionPage<'a> {
    page: Page,
    form: &'a Form,
    farms: Vec<Choice>,
}

#[derive(Template)]
#[template(path = "movement_rule.html")]
struct RulePage<'a> {
    page: Page,
    form: &'a Form,
    passages: Vec<Choice>,
    required: Vec<Required>,
    caution: &'a str,
}

const REMOVE: &str = "none";

impl MovementPage {
    /// What a rule does, in words.
    fn says(rule: &MovementRuleView) -> String {
        match rule.passage {
            Passage::NotHere => "nothing passes through this network".to_owned(),
            Passage::Asks if rule.required.is_empty() => "both farms are told to ask".to_owned(),
            Passage::Asks => format!("signed statements: {}", say::kinds(&rule.required)),
        }
    }
}

#[get("/movement")]
async fn look(signed: Signed<Member>) -> Answer {
    let view = movement::view(&signed.visitor.house, signed.caller).await?;
    let runs = if signed.caller.farm.is_none() { Runs::It } else { Runs::Not };
    let page = signed.visitor.page("Between regions");
    signed.visitor.show(&MovementPage { page, runs, view })
}

async fn view(signed: &Signed<Coordinator>) -> Result<MovementView, ServerError> {
    let member = rounds::member_of(signed.caller)?;
    movement::view(&signed.visitor.house, member).await
}

#[get("/movement/region")]
async fn ask_region(signed: Signed<Coordinator>) -> Answer {
    show_region(&signed, &Form::new(&signed.visitor.house)?).await
}

#[post("/movement/region")]
async fn set_region(signed: Signed<Coordinator>, posted: Posted) -> Answer {
    let mut form = posted.0;
    let key = form.key()?;
    let Some(farm) = form.read::<FarmId>("farm") else {
        return show_region(&signed, &form).await;
    };
    let region = Some(form.value("region").trim().to_owned()).filter(|text| !text.is_empty());
    let (house, request) = (&signed.visitor.house, SetRegion { region });
    match movement::set_region(house, signed.caller, &key, farm, request).await {
        Ok(_) => Ok(see_other("/movement?done=region")),
        Err(error) => {
            form.take(error)?;
            show_region(&signed, &form).await
        }
    }
}

async fn show_region(signed: &Signed<Coordinator>, form: &Form) -> Answer {
    let choice = |placed: &spareloop_api::movement::PlacedFarm| {
        let region = placed.region.as_deref().unwrap_or("no region noted");
        Choice::new(placed.farm.id, format!("{}: {region}", placed.farm.name))
    };
    let farms = view(signed).await?.farms.iter().map(choice).collect();
    let page = signed.visitor.form_page("Where a farm is", form);
    signed.visitor.show_form(form, &RegionPage { page, form, farms })
}

#[get("/movement/rule")]
async fn ask_rule(signed: Signed<Coordinator>) -> Answer {
    show_rule(&signed, &Form::new(&signed.visitor.house)?).await
}

#[post("/movement/rule")]
async fn set_rule(signed: Signed<Coordinator>, posted: Posted) -> Answer {
    let mut form = posted.0;
    let key = form.key()?;
    let (from, to) = (form.read("from"), form.read("to"));
    let (Some(from), Some(to)) = (from, to) else {
        return show_rule(&signed, &form).await;
    };
    let passage = match form.value("passage") {
        "asks" => Some(Passage::Asks),
        "not-here" => Some(Passage::NotHere),
        _ => None,
    };
    let request = SetMovementRule {
        from,
        to,
        passage,
        required: required::ticked(&form),
        note: form.value("rule_note").trim().to_owned(),
    };
    match movement::set_rule(&signed.visitor.house, signed.caller, &key, request).await {
        Ok(_) => Ok(see_other("/movement?done=movement-rule")),
        Err(error) => {
            form.take(error)?;
            show_rule(&signed, &form).await
        }
    }
}

async fn show_rule(signed: &Signed<Coordinator>, form: &Form) -> Answer {
    let passages = vec![
        Choice::new("asks", "Tell both farms to ask first; the lot bears what is ticked below"),
        Choice::new("not-here", "Nothing passes through this network"),
        Choice::new(REMOVE, "Take the rule away"),
    ];
    let caution = view(signed).await?.caution;
    let page = signed.visitor.form_page("Rule between two regions", form);
    let required = required::all(form);
    signed.visitor.show_form(form, &RulePage { page, form, passages, required, caution: &caution })
}
