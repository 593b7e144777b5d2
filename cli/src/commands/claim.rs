//! `claim`: what is wrong with what arrived, the answer to it, and for the coordinator: the decision.

use clap::{Args, Subcommand};
use serde::Serialize;
use serde_json::json;
use spareloop_api::claims::{ClaimView, DecideClaim, MakeClaim};
use spareloop_api::client::{ActKey, Client};
use spareloop_api::exchange::Reason;
use spareloop_domain::exchange::{ClaimKind, ClaimState};
use spareloop_domain::words::{ClaimId, Count, HandOverId};

use super::coordinator::{As, Caller, coordinator};
use crate::book::Keep;
use crate::desk::Desk;
use crate::fault::Fault;
use crate::fresh;
use crate::printer::{Answer, table};
use crate::remote::{NewAct, Session, call_fault};

/// What can be done about claims.
#[derive(Debug, Subcommand)]
pub enum Claim {
    /// Say what is wrong with what was received: bad condition within 14 days, no eye within 5 weeks, not
    /// true to name until first bloom (30 September).
    #[command(after_help = "\
Example: spareloop claim make HANDOVER --kind condition --count 3 --words 'soft at the crown'")]
    Make(Make),
    /// The claims of the farm, or of the network.
    #[command(after_help = "Example: spareloop claim list")]
    List(List),
    /// Grant a claim: it comes back in the owed book.
    #[command(
        after_help = "Example: spareloop claim grant CLAIM --why 'sorry, the frost night' --yes"
    )]
    Grant(Reply),
    /// See it otherwise: the coordinator decides, on record.
    #[command(
        after_help = "Example: spareloop claim dispute CLAIM --why 'they were firm when packed'"
    )]
    Dispute(Reply),
    /// Take a claim back.
    #[command(after_help = "Example: spareloop claim withdraw CLAIM")]
    Withdraw(Reply),
    /// Decide a disputed claim, as the coordinator, on record.
    #[command(after_help = "\
Example: spareloop claim decide CLAIM --count 2 --why 'two were soft, seen by both' \\
           --server https://loop.example --login clara")]
    Decide(Decide),
}

/// Makes a claim.
#[derive(Debug, Args)]
pub struct Make {
    /// The hand-over's id.
    hand_over: HandOverId,
    /// condition, no-eye or not-true.
    #[arg(long)]
    kind: ClaimKind,
    /// Of how many.
    #[arg(long)]
    count: Count,
    /// What is wrong, in words.
    #[arg(long, default_value = "")]
    words: String,
}

/// Lists.
#[derive(Debug, Args)]
pub struct List {
    #[command(flatten)]
    who: As,
}

/// Answers one.
#[derive(Debug, Args)]
pub struct Reply {
    /// The claim's id.
    claim: ClaimId,
    /// What the other farm reads.
    #[arg(long, default_value = "")]
    why: String,
}

/// Decides one.
#[derive(Debug, Args)]
pub struct Decide {
    /// The claim's id.
    claim: ClaimId,
    /// How many of what was claimed count, from 0.
    #[arg(long)]
    count: Count,
    /// Why; both farms read it.
    #[arg(long, default_value = "")]
    why: String,
    #[command(flatten)]
    who: As,
}

/// Runs it.
pub fn run(command: Claim, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Claim::Make(it) => {
            let said = format!("claim on {} of hand-over {}", it.count, it.hand_over);
            let path = format!("/hand-overs/{}/claims", it.hand_over);
            let claim = ClaimId::new(fresh::uuid()?);
            let body = MakeClaim { claim, kind: it.kind, count: it.count, words: it.words };
            act(desk, "make-claim", path, body, said)
        }
        Claim::List(it) => list(&it, desk),
        Claim::Grant(it) => {
            desk.ask.consent("Grant it? What was claimed comes back in the owed book.")?;
            reply(desk, it, "grant")
        }
        Claim::Dispute(it) => reply(desk, it, "dispute"),
        Claim::Withdraw(it) => reply(desk, it, "withdraw"),
        Claim::Decide(it) => decide(it, desk),
    }
}

fn reply(desk: &Desk, it: Reply, what: &str) -> Result<Answer, Fault> {
    let said = format!("{what} claim {}", it.claim);
    let path = format!("/claims/{}/{what}", it.claim);
    act(desk, &format!("{what}-claim"), path, Reason { why: it.why }, said)
}

/// Does something to a claim; kept here and sent later while the server is away.
fn act(
    desk: &Desk,
    operation: &str,
    path: String,
    body: impl Serialize,
    said: String,
) -> Result<Answer, Fault> {
    if desk.keep == Keep::Rehearsed {
        let text = format!("Would {said} (--dry-run).");
        return Ok(Answer::new("claim", text, json!({ "kept": false })));
    }
    let mut file = desk.file()?;
    let act = NewAct { operation, path, body, said };
    let view: ClaimView = Session::of(desk, &mut file)?.act(&mut file, act)?;
    Ok(shown(&view))
}

fn decide(it: Decide, desk: &Desk) -> Result<Answer, Fault> {
    if desk.keep == Keep::Rehearsed {
        let text = format!("Would decide claim {} (--dry-run).", it.claim);
        return Ok(Answer::new("claim", text, json!({ "kept": false })));
    }
    desk.ask.consent("Decide it? It stays on record and can't be undone.")?;
    let client = coordinator(&it.who, desk)?;
    let key = ActKey(fresh::uuid()?.to_string());
    let request = DecideClaim { count: it.count, why: it.why };
    let view = client.decide_claim(&key, it.claim, &request).map_err(call_fault)?;
    Ok(shown(&view))
}

fn state(view: &ClaimView) -> String {
    let state = view
        .state
        .parse::<ClaimState>()
        .map_or_else(|_| view.state.clone(), |state| state.to_string());
    match view.settled {
        Some(settled) => format!("{state}: {settled} of {} count", view.count),
        None => state,
    }
}

fn shown(view: &ClaimView) -> Answer {
    let mut lines = vec![format!(
        "{} of '{}' from {}, claimed by {} ({}): {}",
        view.count,
        view.variety.trim_matches('\''),
        view.giver.name,
        view.taker.name,
        view.kind,
        state(view)
    )];
    if view.state == ClaimState::Open.code() {
        lines.push(format!("The giver has until {} to answer.", view.answer_by.format("%Y-%m-%d")));
    }
    let said = [("claimed", &view.words), ("giver", &view.answer), ("decided", &view.decision)];
    let said = said.iter().filter(|(_, text)| !text.is_empty());
    lines.extend(said.map(|(who, text)| format!("  {who}: {text}")));
    lines.push(format!("claim {}", view.claim));
    Answer::new("claim", lines.join("\n"), json!({ "claim": view }))
}

fn list(it: &List, desk: &Desk) -> Result<Answer, Fault> {
    let claims = Caller::open(&it.who, desk)?.call(Client::claims).map_err(call_fault)?;
    let rows: Vec<Vec<String>> = claims
        .iter()
        .map(|view| {
            vec![
                state(view),
                view.count.to_string(),
                format!("'{}'", view.variety.trim_matches('\'')),
                view.kind.to_string(),
                view.giver.name.clone(),
                view.taker.name.clone(),
                view.claim.to_string(),
            ]
        })
        .collect();
    let text = if rows.is_empty() {
        "No claims.".to_owned()
    } else {
        table(&["state", "count", "variety", "what", "from", "claimed by", "claim"], &rows)
    };
    Ok(Answer::new("claims", text, json!({ "claims": claims })))
}
