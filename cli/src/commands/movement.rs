//! `movement`: where farms are and what is asked for between regions; for the coordinator: noting and
//! setting it.

use clap::{Args, Subcommand, ValueEnum};
use serde_json::json;
use spareloop_api::client::{ActKey, Client};
use spareloop_api::movement::{
    MovementRuleView, MovementView, Passage, SetMovementRule, SetRegion,
};
use spareloop_domain::attest::FactKind;
use spareloop_domain::words::FarmId;

use super::coordinator::{As, Caller, coordinator};
use crate::book::Keep;
use crate::desk::Desk;
use crate::fault::Fault;
use crate::fresh;
use crate::printer::{Answer, table};
use crate::remote::call_fault;

/// What can be done about regions.
#[derive(Debug, Subcommand)]
pub enum Movement {
    /// Where farms are, and what the coordinator asks for between regions.
    #[command(after_help = "\
Example: spareloop movement show
No rule says that something may be moved: ask your own plant health authority.")]
    Show(Show),
    /// Note where a farm is, as the coordinator.
    #[command(after_help = "\
Example: spareloop movement region FARM 'North shore' --server https://loop.example --login clara")]
    Region(Region),
    /// Set what is asked for from one region to another, as the coordinator.
    #[command(after_help = "\
Example: spareloop movement rule --from 'North shore' --to Islands --sets asks \\
           --require movement-papers --note 'The islands office answers on Tuesdays' \\
           --server https://loop.example --login clara
         spareloop movement rule --from Islands --to 'North shore' --sets not-here \\
           --server https://loop.example --login clara
A rule holds one way. Matches, holds and rounds go by it; what is agreed already stands.")]
    Rule(Rule),
}

/// Shows regions and rules.
#[derive(Debug, Args)]
pub struct Show {
    #[command(flatten)]
    who: As,
}

/// Notes a region.
#[derive(Debug, Args)]
pub struct Region {
    /// The farm's id.
    farm: FarmId,
    /// Its region; without it, none is noted.
    #[arg(value_name = "REGION")]
    name: Option<String>,
    #[command(flatten)]
    who: As,
}

/// Sets a rule.
#[derive(Debug, Args)]
pub struct Rule {
    /// The region that stock leaves.
    #[arg(long)]
    from: String,
    /// The region that it comes to.
    #[arg(long)]
    to: String,
    /// What the rule does.
    #[arg(long, value_name = "WHAT")]
    sets: Sets,
    /// A kind of signed statement that the lot must bear; may be given again: bench-hygiene, soak,
    /// looked-over, laboratory-test, origin, movement-papers.
    #[arg(long = "require", value_name = "KIND")]
    required: Vec<FactKind>,
    /// Whom to ask, where the rules can be read.
    #[arg(long, default_value = "")]
    note: String,
    #[command(flatten)]
    who: As,
}

/// What a rule does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Sets {
    /// Both farms are told to ask; the lot bears the statements named.
    Asks,
    /// Nothing passes through this network.
    NotHere,
    /// The rule is taken away.
    Nothing,
}

/// Runs it.
pub fn run(command: Movement, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Movement::Show(it) => {
            let mut caller = Caller::open(&it.who, desk)?;
            caller.call(Client::movement).map(|view| shown(&view)).map_err(call_fault)
        }
        Movement::Region(it) => region(it, desk),
        Movement::Rule(it) => rule(it, desk),
    }
}

fn rehearsed(what: &str) -> Answer {
    Answer::new("movement", format!("Would {what} (--dry-run)."), json!({ "kept": false }))
}

fn key() -> Result<ActKey, Fault> {
    Ok(ActKey(fresh::uuid()?.to_string()))
}

fn region(it: Region, desk: &Desk) -> Result<Answer, Fault> {
    if desk.keep == Keep::Rehearsed {
        return Ok(rehearsed("note the region"));
    }
    let client = coordinator(&it.who, desk)?;
    let request = SetRegion { region: it.name };
    let view = client.set_region(&key()?, it.farm, &request).map_err(call_fault)?;
    Ok(shown(&view))
}

fn rule(it: Rule, desk: &Desk) -> Result<Answer, Fault> {
    if desk.keep == Keep::Rehearsed {
        return Ok(rehearsed("set the rule"));
    }
    let client = coordinator(&it.who, desk)?;
    let request = SetMovementRule {
        from: it.from,
        to: it.to,
        passage: match it.sets {
            Sets::Asks => Some(Passage::Asks),
            Sets::NotHere => Some(Passage::NotHere),
            Sets::Nothing => None,
        },
        required: it.required.into_iter().collect(),
        note: it.note,
    };
    let view = client.set_movement_rule(&key()?, &request).map_err(call_fault)?;
    Ok(shown(&view))
}

fn says(rule: &MovementRuleView) -> String {
    let kinds: Vec<String> = rule.required.iter().map(ToString::to_string).collect();
    match rule.passage {
        Passage::NotHere => "nothing passes through this network".to_owned(),
        Passage::Asks if kinds.is_empty() => "both farms are told to ask".to_owned(),
        Passage::Asks => kinds.join(", "),
    }
}

fn shown(view: &MovementView) -> Answer {
    let farms: Vec<Vec<String>> = view
        .farms
        .iter()
        .map(|one| {
            let region = one.region.clone().unwrap_or_else(|| "not noted".to_owned());
            vec![one.farm.name.clone(), region, one.farm.id.to_string()]
        })
        .collect();
    let rules: Vec<Vec<String>> = view
        .rules
        .iter()
        .map(|rule| vec![rule.from.clone(), rule.to.clone(), says(rule), rule.note.clone()])
        .collect();
    let rules = if rules.is_empty() {
        "No rule is set. That says nothing about the law.".to_owned()
    } else {
        table(&["from", "to", "asked for", "the coordinator writes"], &rules)
    };
    let farms = table(&["farm", "region", "id"], &farms);
    let text = format!("{farms}\n\n{rules}\n\n{}", view.caution);
    Answer::new("movement", text, json!({ "movement": view }))
}
