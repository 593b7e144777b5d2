//! `round`: rounds, what they propose, answers; for the coordinator: making one, settling a swap day,
//! the timetable and limits.
//!
//! ```text
//! make          make, timetable, settle, limit
//! say           rounds and proposals in words
//! ```

mod make;
mod say;

use clap::{Args, Subcommand};
use serde_json::json;
use spareloop_api::client::Client;
use spareloop_api::exchange::OfferView;
use spareloop_api::rounds::{BringWalkUp, ProposalView};
use spareloop_domain::words::{Count, LotId, OfferId, ProposalId, RoundId, UnitKind};

use crate::book::Keep;
use crate::commands::coordinator::{As, Caller};
use crate::desk::Desk;
use crate::fault::Fault;
use crate::fresh;
use crate::printer::{Answer, table};
use crate::remote::{NewAct, Session, call_fault};

/// What can be done about rounds.
#[derive(Debug, Subcommand)]
pub enum Round {
    /// Make a round of loops, or one for a swap day, as the coordinator.
    #[command(after_help = "\
Example: spareloop round make --server https://loop.example --login clara
         spareloop round make --server https://loop.example --login clara --swap-day 2027-03-14 \\
           --place 'the old barn, from 9'
The password is asked for, or read from --password-file or SPARELOOP_PASSWORD.")]
    Make(make::Make),
    /// Rounds of the network, and what they propose to the farm.
    #[command(after_help = "Example: spareloop round list")]
    List(List),
    /// One round: what it comes to, what it proposes, what stays open and why.
    #[command(after_help = "Example: spareloop round show ROUND")]
    Show(Show),
    /// One proposal: what each farm gives and gets, and how even it is.
    #[command(after_help = "Example: spareloop round proposal PROPOSAL")]
    Proposal(OneProposal),
    /// Accept a proposal.
    #[command(after_help = "Example: spareloop round accept PROPOSAL --yes")]
    Accept(Reply),
    /// Decline a proposal; no reason is needed.
    #[command(after_help = "Example: spareloop round decline PROPOSAL")]
    Decline(Reply),
    /// What to pack for a swap day, and what passes in the hall.
    #[command(after_help = "Example: spareloop round lists PROPOSAL")]
    Lists(OneProposal),
    /// Bring something to a swap day that was not planned: it enters the stock book and is offered there.
    #[command(after_help = "\
Example: spareloop round walk-up PROPOSAL 'Ember Lantern' --count 6
What passes there on the spot: spareloop handover pass")]
    WalkUp(WalkUp),
    /// Settle a swap day for those who came, as the coordinator.
    #[command(after_help = "\
Example: spareloop round settle PROPOSAL --absent FARM --server https://loop.example --login clara
What absent farms would have brought or taken falls away; of the rest as much stands as keeps every
farm within its limit.")]
    Settle(make::Settle),
    /// When rounds begin by themselves.
    #[command(after_help = "\
Example: spareloop round timetable
         spareloop round timetable --every 14 --server https://loop.example --login clara")]
    Timetable(make::Timetable),
    /// How much a farm may be owed, or owe, as the coordinator.
    #[command(after_help = "\
Example: spareloop round limit FARM --at-most 25.0 --server https://loop.example --login clara")]
    Limit(make::Limit),
}

/// Lists.
#[derive(Debug, Args)]
pub struct List {
    #[command(flatten)]
    who: As,
}

/// Shows a round.
#[derive(Debug, Args)]
pub struct Show {
    /// The round's id.
    round: RoundId,
    #[command(flatten)]
    who: As,
}

/// Shows a proposal.
#[derive(Debug, Args)]
pub struct OneProposal {
    /// The proposal's id.
    proposal: ProposalId,
    #[command(flatten)]
    who: As,
}

/// Brings something.
#[derive(Debug, Args)]
pub struct WalkUp {
    /// The swap day's id.
    proposal: ProposalId,
    /// The variety's name.
    variety: String,
    /// How many.
    #[arg(long)]
    count: Count,
    /// What a unit is.
    #[arg(long, default_value = "division")]
    unit: UnitKind,
}

/// Answers one.
#[derive(Debug, Args)]
pub struct Reply {
    /// The proposal's id.
    proposal: ProposalId,
}

/// Runs it.
pub fn run(command: Round, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Round::Make(it) => make::make(it, desk),
        Round::List(it) => list(&it, desk),
        Round::Show(it) => {
            let view = Caller::open(&it.who, desk)?
                .call(|client| client.round(it.round))
                .map_err(call_fault)?;
            Ok(Answer::new("round", say::round(&view), json!({ "round": view })))
        }
        Round::Proposal(it) => {
            let view = Caller::open(&it.who, desk)?
                .call(|client| client.proposal(it.proposal))
                .map_err(call_fault)?;
            Ok(shown(&view))
        }
        Round::Accept(it) => {
            desk.ask
                .consent("Accept? If every farm does, the holds are made and agreed at once.")?;
            answer(it.proposal, "accept", desk)
        }
        Round::Decline(it) => answer(it.proposal, "decline", desk),
        Round::Lists(it) => {
            let lists = Caller::open(&it.who, desk)?
                .call(|client| client.swap_day_lists(it.proposal))
                .map_err(call_fault)?;
            Ok(Answer::new("swap-day-lists", say::lists(&lists), json!({ "lists": lists })))
        }
        Round::WalkUp(it) => walk_up(it, desk),
        Round::Settle(it) => make::settle(&it, desk),
        Round::Timetable(it) => make::timetable(it, desk),
        Round::Limit(it) => make::limit(&it, desk),
    }
}

fn shown(view: &ProposalView) -> Answer {
    Answer::new("proposal", say::proposal(view), json!({ "proposal": view }))
}

fn list(it: &List, desk: &Desk) -> Result<Answer, Fault> {
    let mut caller = Caller::open(&it.who, desk)?;
    let rounds = caller.call(Client::rounds).map_err(call_fault)?;
    let proposals = match &caller {
        Caller::Farm(_) => caller.call(Client::proposals).map_err(call_fault)?,
        Caller::Coordinator(_) => Vec::new(),
    };
    let mut text = String::new();
    if !proposals.is_empty() {
        let rows: Vec<Vec<String>> = proposals
            .iter()
            .map(|view| {
                vec![
                    say::state(&view.state),
                    say::title(view),
                    view.answer_by.format("%Y-%m-%d %H:%M UTC").to_string(),
                    view.proposal.to_string(),
                ]
            })
            .collect();
        text.push_str(&table(&["state", "proposed to you", "answer by", "proposal"], &rows));
        text.push_str("\n\n");
    }
    let rows: Vec<Vec<String>> = rounds
        .iter()
        .map(|line| {
            vec![
                say::state(&line.state),
                line.kind.replace('-', " "),
                line.asked_at.format("%Y-%m-%d %H:%M UTC").to_string(),
                line.round.to_string(),
            ]
        })
        .collect();
    text.push_str(&if rows.is_empty() {
        "No rounds yet.".to_owned()
    } else {
        table(&["state", "kind", "asked for", "round"], &rows)
    });
    Ok(Answer::new("round-list", text, json!({ "rounds": rounds, "proposals": proposals })))
}

/// Kept here and sent later while the server is away; the next sync brings the entry home.
fn walk_up(it: WalkUp, desk: &Desk) -> Result<Answer, Fault> {
    let said = format!("bring {} of '{}' to the swap day", it.count, it.variety);
    if desk.keep == Keep::Rehearsed {
        let text = format!("Would {said} (--dry-run).");
        return Ok(Answer::new("walk-up", text, json!({ "kept": false })));
    }
    let mut file = desk.file()?;
    let (offer, lot) = (OfferId::new(fresh::uuid()?), LotId::new(fresh::uuid()?));
    let (unit, count) = (it.unit, it.count);
    let body = BringWalkUp { offer, lot, variety: it.variety, unit, count };
    let path = format!("/proposals/{}/walk-ups", it.proposal);
    let act = NewAct { operation: "bring-walk-up", path, body, said };
    let view: OfferView = Session::of(desk, &mut file)?.act(&mut file, act)?;
    let text = format!(
        "Offered at the swap day: {} of '{}'; offer {}\nNext: spareloop sync, which brings it into your book.",
        view.count,
        view.variety.trim_matches('\''),
        view.offer
    );
    Ok(Answer::new("walk-up", text, json!({ "offer": view })))
}

/// Accepts or declines; kept here and sent later while the server is away.
fn answer(proposal: ProposalId, act: &str, desk: &Desk) -> Result<Answer, Fault> {
    let said = format!("{act} proposal {proposal}");
    if desk.keep == Keep::Rehearsed {
        let text = format!("Would {said} (--dry-run).");
        return Ok(Answer::new("proposal", text, json!({ "kept": false })));
    }
    let mut file = desk.file()?;
    let act = NewAct {
        operation: act,
        path: format!("/proposals/{proposal}/{act}"),
        body: json!({}),
        said,
    };
    let view: ProposalView = Session::of(desk, &mut file)?.act(&mut file, act)?;
    Ok(shown(&view))
}
