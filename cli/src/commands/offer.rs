//! `offer`: spare stock on the network's sheet.

use clap::{Args, Subcommand};
use serde_json::json;
use spareloop_api::client::Client;
use spareloop_api::exchange::{MakeOffer, OfferView};
use spareloop_domain::exchange::OpenTo;
use spareloop_domain::ledger::draft::check_passing_on;
use spareloop_domain::words::{Count, OfferId, Purpose};

use crate::book::{Keep, error_sentence};
use crate::desk::Desk;
use crate::fault::Fault;
use crate::find;
use crate::fresh;
use crate::printer::{Answer, table};
use crate::remote::{NewAct, Session, call_fault};

/// What can be done about offers.
#[derive(Debug, Subcommand)]
pub enum Offer {
    /// Publish spare of one lot.
    #[command(after_help = "\
Example: spareloop offer make 7KQ4M --count 8 --least 4 --conditions 'pick-up only'
The stock book is synced first, since the offer shows the lot's survival history from it.")]
    Make(Make),
    /// Take an offer back; what is held of it stays held.
    #[command(after_help = "Example: spareloop offer withdraw OFFER")]
    Withdraw(Withdraw),
    /// The network's sheet: what is offered.
    #[command(after_help = "Example: spareloop offer list")]
    List,
}

/// Publishes spare.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Make {
    /// The lot.
    lot: String,
    /// How many.
    #[arg(long)]
    count: Count,
    /// The least I'll send.
    #[arg(long, default_value = "1")]
    least: Count,
    /// For whom: everybody, or beginners: a starter gift, for farms that have only begun.
    #[arg(long = "for", value_name = "WHOM", default_value = "everybody")]
    open_to: OpenTo,
    /// In words.
    #[arg(long, default_value = "")]
    conditions: String,
}

/// Takes an offer back.
#[derive(Debug, Args)]
pub struct Withdraw {
    /// The offer's id.
    offer: OfferId,
}

/// Runs it.
pub fn run(command: Offer, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Offer::Make(it) => make(it, desk),
        Offer::Withdraw(it) => withdraw(&it, desk),
        Offer::List => list(desk),
    }
}

fn make(it: Make, desk: &Desk) -> Result<Answer, Fault> {
    let mut opened = desk.book()?;
    let lot = find::lot(&opened.book, opened.farm.id, &it.lot)?.clone();
    let name = find::variety_name(&opened.book, lot.variety);
    check_passing_on(&opened.book, lot.id, Purpose::Swap, desk.day(None))
        .map_err(|refusal| Fault::refused(error_sentence(&refusal.to_string()), refusal.hint()))?;
    if it.count > lot.in_store {
        return Err(Fault::refused(
            format!(
                "Lot {} has {} in store, fewer than {}.",
                lot.id.code(),
                lot.in_store,
                it.count
            ),
            "Offer what is there; see: spareloop forecast",
        ));
    }
    let said = format!("offer {} of lot {} {name}", it.count, lot.id.code());
    if desk.keep == Keep::Rehearsed {
        return Ok(Answer::new(
            "offer",
            format!("Would {said} (--dry-run)."),
            json!({ "kept": false }),
        ));
    }
    crate::sync::run(desk, &mut opened.file)?;
    let body = MakeOffer {
        offer: OfferId::new(fresh::uuid()?),
        lot: lot.id,
        count: it.count,
        smallest_parcel: it.least,
        conditions: it.conditions,
        open_to: it.open_to,
    };
    let act = NewAct { operation: "make-offer", path: "/offers".into(), body, said };
    let view: OfferView = Session::of(desk, &mut opened.file)?.act(&mut opened.file, act)?;
    Ok(Answer::new("offer", format!("Offered: {}", line(&view)), json!({ "offer": view })))
}

fn line(view: &OfferView) -> String {
    let starter = match view.open_to {
        OpenTo::Everybody => "",
        OpenTo::Beginners => "; a starter gift for beginners",
    };
    let movement = view.movement.as_ref().map_or_else(String::new, |said| format!("\n{said}"));
    format!(
        "{} of {} {} ({}), {} free, at least {}; {}{starter}; {}\n{}\n{}\n{}{movement}",
        view.count,
        quoted(&view.variety),
        if view.count.get() == 1 { view.unit.to_string() } else { view.unit.plural() },
        view.eyes.replace('-', " "),
        view.free,
        view.smallest_parcel,
        view.firmness,
        view.offer,
        view.history.sentence,
        view.hygiene.sentence,
        view.stated.tested_sentence
    )
}

/// A name in single quotes, whether or not the server gave them.
fn quoted(name: &str) -> String {
    format!("'{}'", name.trim_matches('\''))
}

fn withdraw(it: &Withdraw, desk: &Desk) -> Result<Answer, Fault> {
    desk.ask.consent("Take this offer back? What is held of it stays held.")?;
    if desk.keep == Keep::Rehearsed {
        return Ok(Answer::new(
            "offer",
            "Would be taken back (--dry-run).",
            json!({ "kept": false }),
        ));
    }
    let mut file = desk.file()?;
    let act = NewAct {
        operation: "withdraw-offer",
        path: format!("/offers/{}/withdraw", it.offer),
        body: json!({}),
        said: format!("withdraw offer {}", it.offer),
    };
    let view: OfferView = Session::of(desk, &mut file)?.act(&mut file, act)?;
    Ok(Answer::new("offer", format!("Taken back: {}", line(&view)), json!({ "offer": view })))
}

fn list(desk: &Desk) -> Result<Answer, Fault> {
    let board = Session::open(desk)?.call(Client::board).map_err(call_fault)?;
    let rows: Vec<Vec<String>> = board
        .offers
        .iter()
        .map(|view| {
            vec![
                quoted(&view.variety),
                view.free.to_string(),
                view.unit.to_string(),
                view.farm.name.clone(),
                view.eyes.replace('-', " "),
                view.firmness.clone(),
                view.offer.to_string(),
            ]
        })
        .collect();
    let text = if rows.is_empty() {
        "Nothing is offered on the network's sheet.".to_owned()
    } else {
        table(&["variety", "free", "unit", "farm", "eyes", "", "offer"], &rows)
    };
    Ok(Answer::new("offer-list", text, json!({ "offers": board.offers })))
}
