//! `bench`: one sitting at the dividing bench.

use clap::{Args, Subcommand, ValueEnum};
use spareloop_domain::ledger::body::{BenchSession, Solution, ToolsBetweenClumps};
use spareloop_domain::words::{Day, SessionId};

use super::noted;
use crate::desk::{Desk, draft};
use crate::fault::Fault;
use crate::find;
use crate::fresh;
use crate::printer::Answer;

/// What can be done at the bench.
#[derive(Debug, Subcommand)]
pub enum Bench {
    /// Note a dividing session, then name it in each `lot divide --session`.
    #[command(after_help = "\
Example:
  spareloop bench session 7KQ4M D3XPA --tools disinfected --dip 'household bleach' \\
    --dip-percent 0.5 --dip-minutes 10 --soak 'fungicide as labelled' --soak-minutes 2
Clean soil off first. Never mix bleach with acids or ammonia; air the room, wear gloves and goggles;
the product's label is the law. Stop when your fingers are numb: knives and cold hands don't
go together.")]
    Session(Session),
}

/// What was done with the tools between clumps.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum Tools {
    /// Disinfected between clumps.
    Disinfected,
    /// Not disinfected between clumps.
    NotDisinfected,
    /// Not noted.
    NotNoted,
}

impl From<Tools> for ToolsBetweenClumps {
    fn from(tools: Tools) -> Self {
        match tools {
            Tools::Disinfected => Self::Disinfected,
            Tools::NotDisinfected => Self::NotDisinfected,
            Tools::NotNoted => Self::NotNoted,
        }
    }
}

/// Notes a dividing session.
#[derive(Debug, Args)]
pub struct Session {
    /// The lots that were cut.
    #[arg(required = true)]
    lots: Vec<String>,
    /// What was done with the tools between clumps.
    #[arg(long, value_enum, default_value = "not-noted")]
    tools: Tools,
    /// What the tools were dipped in, as on the label.
    #[arg(long, value_name = "AGENT")]
    dip: Option<String>,
    /// Its active strength in percent.
    #[arg(long, requires = "dip")]
    dip_percent: Option<f64>,
    /// Minutes the tools stayed in it.
    #[arg(long, requires = "dip")]
    dip_minutes: Option<f64>,
    /// When the dip was made up, HH:MM.
    #[arg(long, requires = "dip", value_name = "TIME")]
    dip_made_up: Option<String>,
    /// What the tubers were soaked in, as on the label.
    #[arg(long, value_name = "AGENT")]
    soak: Option<String>,
    /// Its active strength in percent.
    #[arg(long, requires = "soak")]
    soak_percent: Option<f64>,
    /// Minutes the tubers stayed in it.
    #[arg(long, requires = "soak")]
    soak_minutes: Option<f64>,
    /// The day.
    #[arg(long, value_name = "DAY")]
    on: Option<Day>,
}

/// Runs it.
pub fn run(command: Bench, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Bench::Session(it) => session(it, desk),
    }
}

fn session(it: Session, desk: &Desk) -> Result<Answer, Fault> {
    let id = SessionId::new(fresh::uuid()?);
    let tool_dip = it.dip.map(|agent| Solution {
        agent,
        strength_percent: it.dip_percent,
        minutes: it.dip_minutes,
        made_up: it.dip_made_up,
    });
    let soak = it.soak.map(|agent| Solution {
        agent,
        strength_percent: it.soak_percent,
        minutes: it.soak_minutes,
        made_up: None,
    });
    let done = desk.note(|book, before| {
        let lots = it
            .lots
            .iter()
            .map(|text| find::lot(book, before.farm.id, text).map(|lot| lot.id))
            .collect::<Result<_, _>>()?;
        let body = BenchSession { session: id, lots, tools: it.tools.into(), tool_dip, soak };
        Ok(vec![draft(desk.day(it.on), body)?])
    })?;
    let code = find::session_code(id);
    let mut answer = noted(
        desk,
        &done,
        &[format!("Name it when you divide: --session {code} (or --session last)")],
    );
    if let Some(fields) = answer.data.as_object_mut() {
        fields.insert("session".into(), id.to_string().into());
    }
    Ok(answer)
}
