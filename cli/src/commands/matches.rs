//! `match`: who has what I lack and lacks what I have.

use clap::Args;
use serde_json::json;
use spareloop_api::client::Client;
use spareloop_api::exchange::{MatchLine, UnstatedLine};

use crate::desk::Desk;
use crate::fault::Fault;
use crate::printer::Answer;
use crate::remote::{Session, call_fault};

/// Who has what I lack and lacks what I have.
#[derive(Debug, Args)]
#[command(
    after_help = "Example: spareloop match\nThen ask for a hold: spareloop hold ask OFFER --count 5 --want WANT"
)]
pub struct Match {}

/// Runs it.
pub fn run(_: Match, desk: &Desk) -> Result<Answer, Fault> {
    let matches = Session::open(desk)?.call(Client::matches).map_err(call_fault)?;
    let mut lines = Vec::new();
    for found in &matches.matches {
        let far = found.distance_km.map_or_else(String::new, |far| format!(" ({far})"));
        lines.push(format!("{}{far}:", found.farm.name));
        lines.extend(found.they_have.iter().map(|line| format!("  has    {}", said(line))));
        lines.extend(found.they_lack.iter().map(|line| format!("  lacks  {}", said(line))));
        for movement in [&found.they_have_movement, &found.they_lack_movement] {
            lines.extend(movement.iter().map(|said| format!("  {said}")));
        }
        lines.extend(
            found.they_have_unstated.iter().map(|one| unstated("  has   ", one, "you ask")),
        );
        lines.extend(
            found.they_lack_unstated.iter().map(|one| unstated("  lacks ", one, "they ask")),
        );
    }
    let text = if lines.is_empty() {
        "No farm has what you lack, or lacks what you have, at the moment.".to_owned()
    } else {
        lines.join("\n")
    };
    Ok(Answer::new("matches", text, json!(matches)))
}

fn unstated(head: &str, one: &UnstatedLine, who: &str) -> String {
    let kinds: Vec<String> = one.missing.iter().map(ToString::to_string).collect();
    let kinds = kinds.join(", ");
    format!("{head} {}: a statement is missing that {who} for ({kinds})", said(&one.line))
}

fn said(line: &MatchLine) -> String {
    let unit = if line.count.get() == 1 { line.unit.to_string() } else { line.unit.plural() };
    format!(
        "{} {unit} of '{}'  (offer {}, want {})",
        line.count, line.variety, line.offer, line.want
    )
}
