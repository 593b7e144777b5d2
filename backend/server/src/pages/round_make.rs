//! Making a round: of loops, for a swap day, or by a timetable; the coordinator's pages.

use actix_web::web::ServiceConfig;
use actix_web::{get, post};
use askama::Template;
use spareloop_api::rounds::{MakeRound, RoundRules, SetTimetable};
use spareloop_domain::exchange::owed::Tenths;
use spareloop_domain::exchange::round::{Kind, Rules};
use spareloop_domain::words::RoundId;

use super::form::{Form, Posted};
use super::layout::{Answer, Page, see_other};
use super::session::Signed;
use crate::acts::rounds;
use crate::auth::caller::Coordinator;
use crate::error::ServerError;

pub(super) fn configure(config: &mut ServiceConfig) {
    config
        .service(new_loops)
        .service(make_loops)
        .service(new_swap_day)
        .service(make_swap_day)
        .service(timetable)
        .service(set_timetable);
}

#[derive(Template)]
#[template(path = "round_make.html")]
struct MakePage<'a> {
    page: Page,
    form: &'a Form,
    made: Made,
}

/// What is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Made {
    Loops,
    SwapDay,
    Timetable,
}

impl Made {
    const fn address(self) -> &'static str {
        match self {
            Self::Loops => "/rounds/loops/new",
            Self::SwapDay => "/rounds/swap-day/new",
            Self::Timetable => "/rounds/timetable",
        }
    }

    const fn title(self) -> &'static str {
        match self {
            Self::Loops => "Make a round of loops",
            Self::SwapDay => "Call a swap day",
            Self::Timetable => "Rounds by a timetable",
        }
    }

    const fn button(self) -> &'static str {
        match self {
            Self::Loops => "Make the round",
            Self::SwapDay => "Make the round for it",
            Self::Timetable => "Set the timetable",
        }
    }
}

#[get("/rounds/loops/new")]
async fn new_loops(signed: Signed<Coordinator>) -> Answer {
    let form = with_id(&signed)?;
    show(&signed, as_usual(form), Made::Loops)
}

#[get("/rounds/swap-day/new")]
async fn new_swap_day(signed: Signed<Coordinator>) -> Answer {
    let form = with_id(&signed)?.or("answer_hours", Rules::usual_loops().answer_hours);
    show(&signed, form, Made::SwapDay)
}

fn with_id(signed: &Signed<Coordinator>) -> Result<Form, ServerError> {
    Form::default().with_ids(&signed.visitor.house, &["round"])
}

/// The usual rules, to be looked over.
fn as_usual(form: Form) -> Form {
    let usual = Rules::usual_loops();
    let form = form.or("answer_hours", usual.answer_hours);
    match usual.kind {
        Kind::Loops { most_farms, tolerance } => {
            form.or("most_farms", most_farms).or("tolerance", tolerance)
        }
        Kind::SwapDay { .. } => form,
    }
}

fn show(signed: &Signed<Coordinator>, form: Form, made: Made) -> Answer {
    let page = signed.visitor.form_page(made.title(), &form);
    signed.visitor.show_form(&form, &MakePage { page, form: &form, made })
}

/// What was typed about loops; nothing if something of it can't be read.
fn loop_rules(form: &mut Form) -> Option<RoundRules> {
    let (most_farms, tolerance, hours) =
        (form.read("most_farms"), form.read_tenths("tolerance"), form.read("answer_hours"));
    Some(RoundRules {
        most_farms: Some(most_farms?),
        tolerance_tenths: Some(tolerance?),
        answer_hours: Some(hours?),
        ..RoundRules::default()
    })
}

#[post("/rounds/loops/new")]
async fn make_loops(signed: Signed<Coordinator>, posted: Posted) -> Answer {
    let mut form = posted.0;
    match loop_rules(&mut form) {
        Some(rules) => make(&signed, form, Made::Loops, rules).await,
        None => show(&signed, form, Made::Loops),
    }
}

#[post("/rounds/swap-day/new")]
async fn make_swap_day(signed: Signed<Coordinator>, posted: Posted) -> Answer {
    let mut form = posted.0;
    let (on, hours) = (form.read("swap_day"), form.read("answer_hours"));
    let place = form.value("place").trim().to_owned();
    let (Some(on), Some(hours)) = (on, hours) else {
        return show(&signed, form, Made::SwapDay);
    };
    let rules = RoundRules {
        swap_day: Some(on),
        place: Some(place),
        answer_hours: Some(hours),
        ..RoundRules::default()
    };
    make(&signed, form, Made::SwapDay, rules).await
}

async fn make(
    signed: &Signed<Coordinator>,
    mut form: Form,
    made: Made,
    rules: RoundRules,
) -> Answer {
    let (key, round) = (form.key()?, RoundId::new(form.id("round")?));
    let request = MakeRound { round, rules };
    match rounds::make(&signed.visitor.house, signed.caller, &key, request).await {
        Ok(_) => Ok(see_other(&format!("/rounds/{round}?done=round"))),
        Err(error) => {
            form.take(error)?;
            show(signed, form, made)
        }
    }
}

#[get("/rounds/timetable")]
async fn timetable(signed: Signed<Coordinator>) -> Answer {
    let house = &signed.visitor.house;
    let member = rounds::member_of(signed.caller)?;
    let stands = rounds::timetable(house, member).await?;
    let form = as_usual(Form::new(house)?);
    let form = match stands.every_days {
        Some(days) => form.or("every_days", days),
        None => form,
    };
    show(&signed, form, Made::Timetable)
}

#[post("/rounds/timetable")]
async fn set_timetable(signed: Signed<Coordinator>, posted: Posted) -> Answer {
    let mut form = posted.0;
    let key = form.key()?;
    let every_days = form.read_if_any("every_days");
    let rules = loop_rules(&mut form);
    let (false, Some(rules)) = (form.is_wrong(), rules) else {
        return show(&signed, form, Made::Timetable);
    };
    let request = SetTimetable { every_days, next_at: None, rules };
    match rounds::set_timetable(&signed.visitor.house, signed.caller, &key, request).await {
        Ok(_) => Ok(see_other("/rounds?done=timetable")),
        Err(error) => {
            form.take(error)?;
            show(&signed, form, Made::Timetable)
        }
    }
}

/// Tenths as they are shown in a field.
impl MakePage<'_> {
    fn usual_cost() -> Tenths {
        Rules::usual_loops().parcel_cost
    }
}
