//! The start: what to do next, what the farm was told, and its stock by variety.

use actix_web::get;
use actix_web::web::ServiceConfig;
use askama::Template;
use spareloop_api::exchange::{HoldView, MessageView};
use spareloop_api::questions::QuestionView;
use spareloop_api::stock::{LotLine, StockView};
use spareloop_domain::words::FarmId;

use super::layout::{Answer, Page, see_other};
use super::questions::is_open;
use super::say;
use super::session::{Signed, Visitor};
use crate::acts::{exchange, holds, questions, stock};
use crate::auth::caller::{Grower, Person};

/// How many of the newest messages the start shows.
const NEWEST: u32 = 10;
/// How many holds are looked at for what is to be done.
const HOLDS: u32 = 500;

pub(super) fn configure(config: &mut ServiceConfig) {
    config.service(open);
}

#[derive(Template)]
#[template(path = "home.html")]
struct HomePage {
    page: Page,
    next: Vec<Next>,
    messages: Vec<MessageView>,
    stock: StockView,
}

/// Something to do next.
struct Next {
    address: String,
    act: &'static str,
    about: String,
}

#[get("/")]
async fn open(signed: Signed<Person>) -> Answer {
    match Grower::of(&signed.caller) {
        Some(grower) => show(&signed.visitor, grower).await,
        None => Ok(see_other("/network")),
    }
}

async fn show(visitor: &Visitor, grower: Grower) -> Answer {
    let house = &visitor.house;
    let page = visitor.page("Stock");
    let asked = questions::list(house, grower).await?;
    let held = holds::list(house, grower, None, HOLDS).await?;
    let next = asked
        .iter()
        .filter(|question| is_open(question))
        .map(next_answer)
        .chain(held.iter().filter_map(|hold| next_of(hold, grower.farm)))
        .collect();
    let messages = exchange::messages(house, grower, None, NEWEST).await?.messages;
    let stock = stock::stock(house, grower).await?;
    visitor.show(&HomePage { page, next, messages, stock })
}

fn next_answer(question: &QuestionView) -> Next {
    Next {
        address: format!("/questions/{}", question.question),
        act: "Answer",
        about: format!(
            "which yields for {} of {}, your own need or the promise, by {}",
            question.about,
            question.variety,
            say::moment(&question.answer_by)
        ),
    }
}

fn next_of(hold: &HoldView, farm: FarmId) -> Option<Next> {
    Some(Next {
        address: format!("/holds/{}", hold.hold),
        act: say::turn(hold, farm)?,
        about: say::passing(hold, farm),
    })
}

impl HomePage {
    /// Where a lot lies and when it was last looked at.
    fn about(lot: &LotLine) -> String {
        let mut parts = vec![format!("{} in store", lot.in_store)];
        if !lot.promised.is_zero() {
            parts.push(format!("{} promised", lot.promised));
        }
        parts.push(match &lot.last_look {
            Some(day) => format!("looked at on {}", say::day(day)),
            None => "not looked at yet".to_owned(),
        });
        parts.extend(lot.place.clone());
        parts.join(", ")
    }
}
