//! `plan`: how many plants are wanted of a variety.

use clap::{Args, Subcommand};
use serde_json::json;
use spareloop_domain::ledger::body::Plan as PlanBody;
use spareloop_domain::words::{Count, Day, UnitKind};

use super::noted;
use crate::desk::{Desk, draft};
use crate::fault::Fault;
use crate::find;
use crate::printer::{Answer, table};

/// What can be done about plans.
#[derive(Debug, Subcommand)]
pub enum Plan {
    /// Say how many plants are wanted; the newest plan for a variety and unit kind holds.
    #[command(after_help = "\
Example: spareloop plan set 'Ember Lantern' --plants 20 --planting 2027-05-10
Unless told, the greater of a tenth of the plants wanted and 3 units is kept back, and the forecast
is to hold in 9 springs of 10.")]
    Set(Set),
    /// List the plans.
    #[command(after_help = "Example: spareloop plan list")]
    List,
}

/// Says how many plants are wanted.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Set {
    /// The variety.
    variety: String,
    /// Plants wanted in the ground.
    #[arg(long)]
    plants: Count,
    /// From what kind of unit.
    #[arg(long, default_value = "division")]
    unit: UnitKind,
    /// The planting day; unless told, the farm's.
    #[arg(long, value_name = "DAY")]
    planting: Option<Day>,
    /// Kept back beyond own need.
    #[arg(long)]
    keep_back: Option<Count>,
    /// How sure to be, strictly between 0 and 1.
    #[arg(long, value_name = "SHARE")]
    how_sure: Option<f64>,
    /// The day it was decided.
    #[arg(long, value_name = "DAY")]
    on: Option<Day>,
}

/// Runs it.
pub fn run(command: Plan, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Plan::Set(it) => set(it, desk),
        Plan::List => list(desk),
    }
}

fn set(it: Set, desk: &Desk) -> Result<Answer, Fault> {
    let done = desk.note(|book, before| {
        let variety = find::variety(book, &it.variety)?.id;
        let planting = it.planting.or(before.farm.planting).ok_or_else(|| {
            Fault::decision(
                "When is planting? The farm has no planting day yet.",
                "Give it with --planting YYYY-MM-DD.",
            )
        })?;
        let body = PlanBody {
            variety,
            unit: it.unit,
            plants_wanted: it.plants,
            planting,
            keep_back: it.keep_back,
            service_level: it.how_sure,
        };
        Ok(vec![draft(desk.day(it.on), body)?])
    })?;
    Ok(noted(desk, &done, &[]))
}

fn list(desk: &Desk) -> Result<Answer, Fault> {
    let opened = desk.book()?;
    let book = &opened.book;
    let mut plans: Vec<(String, &PlanBody)> =
        book.plans.values().map(|plan| (find::variety_name(book, plan.variety), plan)).collect();
    plans.sort_by(|a, b| (&a.0, a.1.unit).cmp(&(&b.0, b.1.unit)));
    let rows: Vec<Vec<String>> = plans
        .iter()
        .map(|(name, plan)| {
            let or_rule = |text: Option<String>| text.unwrap_or_else(|| "the farm's rule".into());
            vec![
                name.clone(),
                plan.unit.to_string(),
                plan.plants_wanted.to_string(),
                plan.planting.to_string(),
                or_rule(plan.keep_back.map(|count| count.to_string())),
                or_rule(plan.service_level.map(|level| level.to_string())),
            ]
        })
        .collect();
    let text = if rows.is_empty() {
        "No plan yet. Say what is wanted with: spareloop plan set VARIETY --plants N".to_owned()
    } else {
        table(&["variety", "from", "plants", "planting", "kept back", "how sure"], &rows)
    };
    let data: Vec<_> =
        plans.iter().map(|(name, plan)| json!({ "variety_name": name, "plan": plan })).collect();
    Ok(Answer::new("plan-list", text, json!({ "plans": data })))
}
