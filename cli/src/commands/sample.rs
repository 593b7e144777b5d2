//! `sample`: how many to look at, and what a look proves.

use clap::{Args, Subcommand};
use serde_json::json;
use spareloop_domain::sampling::{
    Aim, SampleSize, SamplingError, detection, sample_size, sample_size_of_large_lot,
};

use crate::book::error_sentence;
use crate::fault::Fault;
use crate::printer::Answer;

/// What can be asked about samples.
#[derive(Debug, Subcommand)]
pub enum Sample {
    /// How many to look at so that trouble at a level would be found.
    #[command(after_help = "\
Example: spareloop sample size --lot-size 200 --level 0.05
Looking can't show freedom from what shows no signs.")]
    Size(HowMany),
    /// The chance that a look at some of a lot would have found the trouble in it.
    #[command(
        after_help = "Example: spareloop sample detection --lot-size 60 --affected 3 --sample 20"
    )]
    Detection(Detection),
}

/// Asks for a size.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct HowMany {
    /// Units in the lot; a large lot unless told.
    #[arg(long)]
    lot_size: Option<u64>,
    /// The share of units with trouble that must not be missed.
    #[arg(long, default_value_t = 0.05)]
    level: f64,
    /// How sure to be to find it.
    #[arg(long, default_value_t = 0.95)]
    confidence: f64,
    /// The chance that a look at a unit with trouble sees it.
    #[arg(long, default_value_t = 1.0)]
    efficacy: f64,
}

/// Asks for a chance.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Detection {
    /// Units in the lot.
    #[arg(long)]
    lot_size: u64,
    /// Units with trouble.
    #[arg(long)]
    affected: u64,
    /// Units looked at.
    #[arg(long)]
    sample: u64,
    /// The chance that a look at a unit with trouble sees it.
    #[arg(long, default_value_t = 1.0)]
    efficacy: f64,
}

/// Runs it.
pub fn run(command: Sample) -> Result<Answer, Fault> {
    match command {
        Sample::Size(it) => size(&it),
        Sample::Detection(it) => {
            let chance =
                detection(it.lot_size, it.affected, it.sample, it.efficacy).map_err(refused)?;
            let text = format!(
                "A look at {} of {} finds at least one of {} with trouble in {:.1} of 100 cases.",
                it.sample,
                it.lot_size,
                it.affected,
                chance * 100.0
            );
            Ok(Answer::new("detection", text, json!({ "chance": chance })))
        }
    }
}

fn refused(error: SamplingError) -> Fault {
    Fault::refused(
        error_sentence(&error.to_string()),
        "Nothing was computed. Correct it and try again.",
    )
}

fn size(it: &HowMany) -> Result<Answer, Fault> {
    let aim = Aim::new(it.level, it.confidence, it.efficacy).map_err(refused)?;
    let size = match it.lot_size {
        Some(lot) => sample_size(lot, aim).map_err(refused)?,
        None => sample_size_of_large_lot(aim),
    };
    let of = it.lot_size.map_or_else(|| "a large lot".to_owned(), |lot| lot.to_string());
    let (text, data) = match &size {
        SampleSize::Attainable { sample_size, confidence_reached, .. } => (
            format!(
                "Look at {sample_size} of {of}: trouble in {} of 100 units would show in {:.1} of 100 looks.",
                it.level * 100.0,
                confidence_reached * 100.0
            ),
            json!({
                "attainable": true,
                "sample_size": sample_size,
                "confidence_reached": confidence_reached,
            }),
        ),
        SampleSize::NotAttainable(reason) => (
            format!("Not attainable: {reason}."),
            json!({ "attainable": false, "reason": reason.to_string() }),
        ),
    };
    Ok(Answer::new("sample-size", text, data))
}
