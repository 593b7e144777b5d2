//! `bench`: one sitting at the dividing bench.
//!
//! ```text
//! session  notes one, and shows those that were noted
//! mix      how to make a solution up
//! ```

mod mix;
mod session;

pub(crate) use session::Tools;

use clap::Subcommand;
use spareloop_domain::disinfection::{Agent, SolutionUse, cautions};

use crate::desk::Desk;
use crate::fault::Fault;
use crate::printer::Answer;

/// What can be done at the bench.
#[derive(Debug, Subcommand)]
pub enum Bench {
    /// Note a dividing session, then name it in each `lot divide --session`.
    #[command(after_help = "\
Examples:
  spareloop bench session 7KQ4M D3XPA --tools disinfected --tool-sets 2 --until 15:00 \\
    --dip 'household bleach' --dip-percent 0.5 --dip-label-percent 0.6 --dip-minutes 10 \\
    --dip-made-up 13:30
  spareloop bench session 7KQ4M --soak 'fungicide as labelled' --soak-minutes 2
Clean soil off first. Never mix bleach with acids or ammonia; air the room, wear gloves and goggles;
the product's label is the law. Stop when your fingers are numb: knives and cold hands don't
go together.")]
    Session(Box<session::Session>),
    /// How to make a tool dip or a tuber soak up: parts, litres, what to mind.
    #[command(after_help = "\
Examples:
  spareloop bench mix --for tool-dip --agent 'household bleach' --stock-percent 5.25 \\
    --target-percent 0.525 --label-percent 0.6 --litres 10 --minutes 10
Parts are told as 1 + 9: one of the stock and nine of water. The stock's strength is on its label;
without it nothing is reckoned. A strength for tools is never one for tubers, nor the other way. The
label and your local rules come first; this recommends no agent, no strength and no time.")]
    Mix(mix::Mix),
    /// The dividing sessions, newest last, with what to mind about each.
    #[command(after_help = "Example: spareloop bench list")]
    List,
    /// One dividing session: its lots, its solutions, what to mind.
    #[command(after_help = "\
Examples:
  spareloop bench show last
  spareloop bench show 0a1b2c")]
    Show(session::Show),
}

/// Runs it.
pub fn run(command: Bench, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Bench::Session(it) => session::note(*it, desk),
        Bench::Mix(it) => mix::run(it, desk),
        Bench::List => session::list(desk),
        Bench::Show(it) => session::show(&it, desk),
    }
}

/// What to mind with the solutions of a sitting, each thing once; where none is noted, what to mind
/// with any.
fn to_mind<'a>(solutions: impl Iterator<Item = (SolutionUse, &'a str)>) -> Vec<&'static str> {
    let mut said: Vec<&'static str> = Vec::new();
    for (used_for, agent) in solutions {
        for caution in cautions(&Agent::named(agent), Some(used_for)) {
            if !said.contains(&caution) {
                said.push(caution);
            }
        }
    }
    if said.is_empty() {
        // Nobody said what it is, so bleach's cautions come too.
        said = cautions(&Agent::Bleach, None);
    }
    said
}
