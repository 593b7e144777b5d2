//! `want`: what is short, on the network's sheet.

use clap::{Args, Subcommand};
use serde_json::json;
use spareloop_api::client::Client;
use spareloop_api::exchange::{MakeWant, WantView};
use spareloop_domain::attest::FactKind;
use spareloop_domain::exchange::GreatestDistance;
use spareloop_domain::words::{Count, Day, UnitKind, WantId};

use crate::book::Keep;
use crate::desk::Desk;
use crate::fault::Fault;
use crate::find;
use crate::fresh;
use crate::printer::{Answer, table};
use crate::remote::{NewAct, Session, call_fault};

/// What can be done about wants.
#[derive(Debug, Subcommand)]
pub enum Want {
    /// Publish what is short.
    #[command(
        after_help = "Example: spareloop want make 'Moss Anthem' --count 5 --needed-by 2027-05-01"
    )]
    Make(Make),
    /// Take a want back.
    #[command(after_help = "Example: spareloop want withdraw WANT")]
    Withdraw(Withdraw),
    /// The network's sheet: what is wanted.
    #[command(after_help = "Example: spareloop want list")]
    List,
}

/// Publishes short.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Make {
    /// The variety; it need not be in the book.
    variety: String,
    /// How many.
    #[arg(long)]
    count: Count,
    /// What a unit is.
    #[arg(long, default_value = "division")]
    unit: UnitKind,
    /// A variety taken instead, best first; may be given again.
    #[arg(long = "instead", value_name = "VARIETY")]
    instead: Vec<String>,
    /// Needed by.
    #[arg(long, value_name = "DAY")]
    needed_by: Option<Day>,
    /// In words.
    #[arg(long, default_value = "")]
    conditions: String,
    /// A kind of signed statement that the lot must bear; may be given again: bench-hygiene, soak,
    /// looked-over, laboratory-test, origin, movement-papers.
    #[arg(long = "require", value_name = "KIND")]
    required: Vec<FactKind>,
    /// From how far away it may come, in kilometres over the ground; say first where the farm is
    /// (distance from).
    #[arg(long = "within", value_name = "KM")]
    within_km: Option<GreatestDistance>,
}

/// Takes a want back.
#[derive(Debug, Args)]
pub struct Withdraw {
    /// The want's id.
    want: WantId,
}

/// Runs it.
pub fn run(command: Want, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Want::Make(it) => make(it, desk),
        Want::Withdraw(it) => withdraw(&it, desk),
        Want::List => list(desk),
    }
}

fn make(it: Make, desk: &Desk) -> Result<Answer, Fault> {
    let mut opened = desk.book()?;
    // A name in the book is sent as the book spells it.
    let spelt = |text: &str| {
        find::known_variety(&opened.book, text)
            .map_or_else(|| text.trim().to_owned(), |card| card.name.to_string())
    };
    let variety = spelt(&it.variety);
    let instead: Vec<String> = it.instead.iter().map(|text| spelt(text)).collect();
    let said = format!("want {} of '{variety}'", it.count);
    if desk.keep == Keep::Rehearsed {
        return Ok(Answer::new(
            "want",
            format!("Would {said} (--dry-run)."),
            json!({ "kept": false }),
        ));
    }
    let body = MakeWant {
        want: WantId::new(fresh::uuid()?),
        variety,
        instead,
        unit: it.unit,
        count: it.count,
        needed_by: it.needed_by,
        conditions: it.conditions,
        required: it.required.into_iter().collect(),
        within_km: it.within_km,
    };
    let act = NewAct { operation: "make-want", path: "/wants".into(), body, said };
    let view: WantView = Session::of(desk, &mut opened.file)?.act(&mut opened.file, act)?;
    Ok(Answer::new("want", format!("Wanted: {}", line(&view)), json!({ "want": view })))
}

fn line(view: &WantView) -> String {
    let asks: Vec<String> = view.required.iter().map(ToString::to_string).collect();
    let asks = if asks.is_empty() {
        String::new()
    } else {
        format!("; asks for signed statements: {}", asks.join(", "))
    };
    let near = view.within_km.map_or_else(String::new, |it| format!("; from within {it}"));
    format!(
        "{} of '{}' ({}), {} open; {}{asks}{near}",
        view.count, view.variety, view.unit, view.open, view.want
    )
}

fn withdraw(it: &Withdraw, desk: &Desk) -> Result<Answer, Fault> {
    if desk.keep == Keep::Rehearsed {
        return Ok(Answer::new(
            "want",
            "Would be taken back (--dry-run).",
            json!({ "kept": false }),
        ));
    }
    let mut file = desk.file()?;
    let act = NewAct {
        operation: "withdraw-want",
        path: format!("/wants/{}/withdraw", it.want),
        body: json!({}),
        said: format!("withdraw want {}", it.want),
    };
    let view: WantView = Session::of(desk, &mut file)?.act(&mut file, act)?;
    Ok(Answer::new("want", format!("Taken back: {}", line(&view)), json!({ "want": view })))
}

fn list(desk: &Desk) -> Result<Answer, Fault> {
    let board = Session::open(desk)?.call(Client::board).map_err(call_fault)?;
    let rows: Vec<Vec<String>> = board
        .wants
        .iter()
        .map(|view| {
            vec![
                format!("'{}'", view.variety),
                view.open.to_string(),
                view.unit.to_string(),
                view.farm.name.clone(),
                view.needed_by.map(|day| day.to_string()).unwrap_or_default(),
                view.want.to_string(),
            ]
        })
        .collect();
    let text = if rows.is_empty() {
        "Nothing is wanted on the network's sheet.".to_owned()
    } else {
        table(&["variety", "open", "unit", "farm", "needed by", "want"], &rows)
    };
    Ok(Answer::new("want-list", text, json!({ "wants": board.wants })))
}
