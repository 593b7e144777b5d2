//! `climate`: the air in store.
//!
//! ```text
//! air     what the ledger says about it
//! import  readings of a logger
//! show    what they add up to, place by place, and what was found since
//! weigh   samples weighed, to learn the farm's own loss of weight
//! vapour  the water in air at one moment
//! ```

mod air;
mod import;
mod show;
mod vapour;
mod weigh;

use clap::{Subcommand, ValueEnum};
use spareloop_domain::ledger::body::Sensor;

use crate::desk::Desk;
use crate::fault::Fault;
use crate::printer::Answer;

/// What can be asked about the air.
#[derive(Debug, Subcommand)]
pub enum Climate {
    /// Readings of a logger in: previewed, then written; a second import adds nothing.
    #[command(after_help = "\
Examples:
  spareloop climate import cellar.csv --place cellar --utc-offset -05:00
  spareloop climate import tote7.csv --place 'cellar / tote 7' --sensor inside-tote
  spareloop climate import log.csv --place cellar --map 'Front=temperature' --clock followed
Columns for the moment (or a date and a time), the temperature and the humidity are found by their
headings, or told by --map and remembered. What a file doesn't say is asked, never guessed: whether
degrees are °C or °F, how its clock stood against UTC, whether the clock followed summer time.")]
    Import(Box<import::Import>),
    /// Hours in the band and out, cold spells, dry air, gaps, and what the next looks found.
    #[command(after_help = "\
Examples:
  spareloop climate show
  spareloop climate show cellar --from 2025-12-01
Dry air over film-wrapped stock is no warning, water under the film is. Thresholds are common
practice, no source; sources disagree on humidity. What was found after a cold night is put beside
it, not blamed on it.")]
    Show(show::Show),
    /// Note the weight of a sample; weigh the same sample again later.
    #[command(after_help = "\
Examples:
  spareloop climate weigh 7KQ4M --grams 812.5
  spareloop climate weigh 7KQ4M --sample 'bag 2' --grams 640
Nothing is published that links dry air to the weight that tubers lose. From your own weighings it
is reckoned once there are 4 intervals of 2 samples, with humidity read all the while; before that
nothing is claimed.")]
    Weigh(weigh::Weigh),
    /// Vapour pressure and deficit at a temperature and humidity.
    #[command(after_help = "\
Examples:
  spareloop climate vapour --celsius 7.2 --humidity 85
  spareloop climate vapour --fahrenheit 45 --humidity 85
Nothing is published that links the deficit to the weight that tubers lose: weigh some of your own.")]
    Vapour(vapour::Vapour),
}

/// Where a sensor sits.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum Where {
    /// In the room.
    Room,
    /// Inside the tote, next to the tubers.
    InsideTote,
}

impl From<Where> for Sensor {
    fn from(sits: Where) -> Self {
        match sits {
            Where::Room => Self::Room,
            Where::InsideTote => Self::InsideTote,
        }
    }
}

/// Runs it.
pub fn run(command: Climate, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Climate::Import(it) => import::run(*it, desk),
        Climate::Show(it) => show::run(&it, desk),
        Climate::Weigh(it) => weigh::run(it, desk),
        Climate::Vapour(it) => vapour::run(&it),
    }
}
