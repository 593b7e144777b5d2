//! `hold`: promises of a count until a time.

use clap::{Args, Subcommand};
use serde::Serialize;
use serde_json::json;
use spareloop_api::client::Client;
use spareloop_api::exchange::{AskHold, HoldView, Reason, TurnView, WaitInLine};
use spareloop_domain::exchange::{Money, PaymentState};
use spareloop_domain::words::{Count, Day, HoldId, OfferId, Purpose, TurnId, WantId};

use crate::book::Keep;
use crate::desk::Desk;
use crate::fault::Fault;
use crate::fresh;
use crate::printer::{Answer, table};
use crate::remote::{NewAct, Session, call_fault};

/// What can be done about holds.
#[derive(Debug, Subcommand)]
pub enum Hold {
    /// Ask for a hold on an offer; first come, first held.
    #[command(after_help = "\
Example: spareloop hold ask OFFER --count 5 --want WANT --value 1.2 --note 'can pick up on Saturday'
The value is what the two farms take one unit to be worth, in median divisions. A gift has none.")]
    Ask(Ask),
    /// Agree to a hold, as the giver.
    #[command(after_help = "Example: spareloop hold agree HOLD")]
    Agree(Agree),
    /// Let a hold go, from either side.
    #[command(after_help = "Example: spareloop hold release HOLD --why 'found some nearer by'")]
    Release(Release),
    /// Wait in line for what comes free of an offer.
    #[command(after_help = "\
Example: spareloop hold wait OFFER --count 5 --value 1.2
What comes free is held for the first in line for two days, then for the next.")]
    Wait(Wait),
    /// The lines that the farm waits in, and those for its offers.
    #[command(after_help = "Example: spareloop hold line")]
    Line,
    /// Leave a line.
    #[command(after_help = "Example: spareloop hold leave TURN")]
    Leave(Leave),
    /// The farm's holds.
    #[command(after_help = "Example: spareloop hold list")]
    List,
    /// One hold and its life.
    #[command(after_help = "Example: spareloop hold show HOLD")]
    Show(Show),
}

/// Asks for a hold.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Ask {
    /// The offer's id.
    offer: OfferId,
    /// How many.
    #[arg(long)]
    count: Count,
    /// The want it is for.
    #[arg(long)]
    want: Option<WantId>,
    /// swap, gift or sale.
    #[arg(long, default_value = "swap")]
    purpose: Purpose,
    /// What one unit is worth, in median divisions to a tenth; 0 for a gift.
    #[arg(long, value_parser = tenths)]
    value: Option<u32>,
    /// What one unit is sold for, like '2.50 EUR'; money passes between the two farms, not here.
    #[arg(long)]
    price: Option<Money>,
    /// Hours until it lapses, 1 to 336.
    #[arg(long)]
    hours: Option<u16>,
    /// A line to the giver.
    #[arg(long, default_value = "")]
    note: String,
}

/// Waits in line.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Wait {
    /// The offer's id.
    offer: OfferId,
    /// How many are wished for; fewer are held where fewer are, or come, free.
    #[arg(long)]
    count: Count,
    /// The want it is for.
    #[arg(long)]
    want: Option<WantId>,
    /// swap or gift.
    #[arg(long, default_value = "swap")]
    purpose: Purpose,
    /// What one unit is worth, in median divisions to a tenth; 0 for a gift.
    #[arg(long, value_parser = tenths)]
    value: Option<u32>,
    /// A line to the giver.
    #[arg(long, default_value = "")]
    note: String,
}

/// Leaves a line.
#[derive(Debug, Args)]
pub struct Leave {
    /// The turn's id.
    turn: TurnId,
}

/// Agrees.
#[derive(Debug, Args)]
pub struct Agree {
    /// The hold's id.
    hold: HoldId,
}

/// Lets go.
#[derive(Debug, Args)]
pub struct Release {
    /// The hold's id.
    hold: HoldId,
    /// Why.
    #[arg(long, default_value = "")]
    why: String,
}

/// Shows one.
#[derive(Debug, Args)]
pub struct Show {
    /// The hold's id.
    hold: HoldId,
}

/// Reads "1.2" as twelve tenths.
pub(super) fn tenths(text: &str) -> Result<u32, String> {
    let (whole, tenth) = text.split_once(['.', ',']).unwrap_or((text, "0"));
    let wrong = || format!("{text:?} is not a value like 1.2");
    let whole: u32 = whole.parse().map_err(|_| wrong())?;
    let tenth: u32 = Some(tenth)
        .filter(|tenth| tenth.len() == 1)
        .and_then(|tenth| tenth.parse().ok())
        .ok_or_else(wrong)?;
    whole.checked_mul(10).and_then(|tens| tens.checked_add(tenth)).ok_or_else(wrong)
}

/// Runs it.
pub fn run(command: Hold, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Hold::Ask(it) => ask(it, desk),
        Hold::Agree(it) => {
            desk.ask.consent("Agree to this hold? It binds your stock.")?;
            let path = format!("/holds/{}/agree", it.hold);
            let said = format!("agree to hold {}", it.hold);
            act(desk, "agree", path, Reason { why: String::new() }, said)
        }
        Hold::Release(it) => {
            let path = format!("/holds/{}/release", it.hold);
            let said = format!("release hold {}", it.hold);
            act(desk, "release", path, Reason { why: it.why }, said)
        }
        Hold::Wait(it) => wait(it, desk),
        Hold::Line => line(desk),
        Hold::Leave(it) => {
            let (path, said) = (format!("/turns/{}/leave", it.turn), format!("leave {}", it.turn));
            turn_act(desk, "leave-line", path, json!({}), said)
        }
        Hold::List => list(desk),
        Hold::Show(it) => {
            let view =
                Session::open(desk)?.call(|client| client.hold(it.hold)).map_err(call_fault)?;
            Ok(Answer::new("hold", life(&view), json!({ "hold": view })))
        }
    }
}

/// What one unit is taken to be worth; asked for where it is a swap.
pub(super) fn worth(purpose: Purpose, value: Option<u32>) -> Result<u32, Fault> {
    match (purpose, value) {
        (_, Some(value)) => Ok(value),
        (Purpose::Gift | Purpose::Sale, None) => Ok(0),
        (_, None) => Err(Fault::decision(
            "What do the two farms take one unit to be worth?",
            "Give it with --value 1.0 (in median divisions), or --purpose gift.",
        )),
    }
}

fn wait(it: Wait, desk: &Desk) -> Result<Answer, Fault> {
    let body = WaitInLine {
        turn: TurnId::new(fresh::uuid()?),
        count: it.count,
        want: it.want,
        purpose: it.purpose,
        unit_value_tenths: worth(it.purpose, it.value)?,
        note: it.note,
    };
    let said = format!("wait in line for {} of offer {}", it.count, it.offer);
    turn_act(desk, "wait-in-line", format!("/offers/{}/line", it.offer), body, said)
}

fn turn_act(
    desk: &Desk,
    operation: &str,
    path: String,
    body: impl Serialize,
    said: String,
) -> Result<Answer, Fault> {
    if desk.keep == Keep::Rehearsed {
        let text = format!("Would {said} (--dry-run).");
        return Ok(Answer::new("turn", text, json!({ "kept": false })));
    }
    let mut file = desk.file()?;
    let act = NewAct { operation, path, body, said };
    let view: TurnView = Session::of(desk, &mut file)?.act(&mut file, act)?;
    let text = format!(
        "{}: {} of '{}' of {}{}; turn {}",
        view.state,
        view.unit.counted(view.count),
        view.variety,
        view.giver.name,
        view.place.map_or_else(String::new, |place| format!(", number {place} in line")),
        view.turn
    );
    Ok(Answer::new("turn", text, json!({ "turn": view })))
}

fn line(desk: &Desk) -> Result<Answer, Fault> {
    let turns = Session::open(desk)?.call(Client::turns).map_err(call_fault)?;
    let rows: Vec<Vec<String>> = turns
        .iter()
        .map(|view| {
            vec![
                view.place.map_or_else(String::new, |place| place.to_string()),
                view.count.to_string(),
                format!("'{}'", view.variety),
                view.giver.name.clone(),
                view.taker.name.clone(),
                view.turn.to_string(),
            ]
        })
        .collect();
    let text = if rows.is_empty() {
        "Nobody waits in line.".to_owned()
    } else {
        table(&["place", "count", "variety", "giver", "who waits", "turn"], &rows)
    };
    Ok(Answer::new("line", text, json!({ "turns": turns })))
}

fn ask(it: Ask, desk: &Desk) -> Result<Answer, Fault> {
    let unit_value_tenths = worth(it.purpose, it.value)?;
    let body = AskHold {
        hold: HoldId::new(fresh::uuid()?),
        count: it.count,
        want: it.want,
        purpose: it.purpose,
        unit_value_tenths,
        unit_price: it.price,
        hours: it.hours,
        note: it.note,
    };
    let said = format!("ask to hold {} of offer {}", it.count, it.offer);
    act(desk, "ask-hold", format!("/offers/{}/holds", it.offer), body, said)
}

/// Does something to a hold and shows what became of it.
pub(super) fn act(
    desk: &Desk,
    operation: &str,
    path: String,
    body: impl Serialize,
    said: String,
) -> Result<Answer, Fault> {
    if desk.keep == Keep::Rehearsed {
        return Ok(Answer::new(
            "hold",
            format!("Would {said} (--dry-run)."),
            json!({ "kept": false }),
        ));
    }
    let mut file = desk.file()?;
    let act = NewAct { operation, path, body, said };
    let view: HoldView = Session::of(desk, &mut file)?.act(&mut file, act)?;
    Ok(Answer::new("hold", life(&view), json!({ "hold": view })))
}

fn life(view: &HoldView) -> String {
    let unit = if view.count.get() == 1 { view.unit.to_string() } else { view.unit.plural() };
    let mut lines = vec![format!(
        "{}: {} {unit} of '{}' from {} to {} ({}); hold {}",
        view.state.replace('-', " "),
        view.count,
        view.variety,
        view.giver.name,
        view.taker.name,
        view.purpose,
        view.hold
    )];
    if view.state == "held" {
        lines.push(format!("Lapses {} UTC if nobody acts.", view.until.format("%Y-%m-%d %H:%M")));
    }
    lines.extend(view.unit_price.map(|price| format!("Sold for {price} each.")));
    lines.extend(view.payments.iter().map(|payment| {
        let noter = if payment.noted_by == view.giver.id { &view.giver } else { &view.taker };
        let state = payment.state.parse::<PaymentState>();
        let state = state.map_or_else(|_| payment.state.clone(), |state| state.to_string());
        format!(
            "Paid {} on {}, says {}: {state}; payment {}",
            payment.amount, payment.on, noter.name, payment.payment
        )
    }));
    if let Some(parcel) = &view.parcel {
        let day = |what: &str, day: Option<Day>| day.map(|day| format!("; {what} {day}"));
        lines.push(format!(
            "Parcel {}: the post is paid by {}, freezing borne by {}{}{}",
            parcel.state,
            parcel.post,
            parcel.frost,
            day("not before", parcel.not_before).unwrap_or_default(),
            day("paused until", parcel.paused_until).unwrap_or_default(),
        ));
    }
    lines.extend(view.movement.clone());
    if let Some(over) = &view.hand_over {
        let received = over
            .received
            .map_or_else(|| "not yet received".to_owned(), |count| format!("{count} received"));
        lines.push(format!(
            "Handed over {} on {}; {received}; {}",
            over.given, over.given_on, over.hand_over
        ));
    }
    lines.extend(view.steps.iter().map(|step| {
        let why = if step.why.is_empty() { String::new() } else { format!(": {}", step.why) };
        format!("  {}  {}{why}", step.at.format("%Y-%m-%d %H:%M"), step.state.replace('-', " "))
    }));
    lines.join("\n")
}

fn list(desk: &Desk) -> Result<Answer, Fault> {
    let holds = Session::open(desk)?.call(Client::holds).map_err(call_fault)?;
    let rows: Vec<Vec<String>> = holds
        .iter()
        .map(|view| {
            vec![
                view.state.replace('-', " "),
                view.count.to_string(),
                format!("'{}'", view.variety),
                view.giver.name.clone(),
                view.taker.name.clone(),
                view.hold.to_string(),
            ]
        })
        .collect();
    let text = if rows.is_empty() {
        "No holds.".to_owned()
    } else {
        table(&["state", "count", "variety", "giver", "taker", "hold"], &rows)
    };
    Ok(Answer::new("hold-list", text, json!({ "holds": holds })))
}

#[cfg(test)]
mod tests {
    use super::tenths;

    #[test]
    fn a_value_is_read_to_a_tenth() {
        assert_eq!(tenths("1.2"), Ok(12));
        assert_eq!(tenths("3"), Ok(30));
        assert_eq!(tenths("0,5"), Ok(5));
        for text in ["1.25", "-1", "much", "", "1.", "1.05", "99999999999"] {
            assert!(tenths(text).is_err(), "{text}");
        }
    }
}
