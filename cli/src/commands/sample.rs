//! `sample`: how many to look at, and what a look proves.

use clap::{Args, Subcommand};
use serde_json::json;
use spareloop_domain::sampling::{
    Aim, LookMade, MayLookingShow, Proof, SampleSize, SamplingError, detection, looking_for,
    sample_size, sample_size_of_large_lot,
};
use spareloop_domain::settings::Settings;

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
    /// What a look that was made excludes.
    #[command(after_help = "\
Examples:
  spareloop sample proves --lot-size 200 --sample 51 --found 0
  spareloop sample proves --lot-size 60 --sample 20 --found 1 --efficacy 0.8 --level 0.1
  spareloop sample proves --lot-size 200 --sample 51 --found 0 --for 'mosaic virus'
A look excludes a level, never the trouble itself. Leave --lot-size out for a large lot.")]
    Proves(Proves),
}

/// Asks what a look proves.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Proves {
    /// Units in the lot; a large lot unless told.
    #[arg(long)]
    lot_size: Option<u64>,
    /// Units looked at.
    #[arg(long)]
    sample: u64,
    /// Units with trouble among them.
    #[arg(long, default_value_t = 0)]
    found: u64,
    /// The share of units with trouble whose chance of being found is told.
    #[arg(long, default_value_t = Settings::default().look_level)]
    level: f64,
    /// How sure to be of what is excluded.
    #[arg(long, default_value_t = Settings::default().look_confidence)]
    confidence: f64,
    /// The chance that a look at a unit with trouble sees it.
    #[arg(long, default_value_t = 1.0)]
    efficacy: f64,
    /// The disease or pest that was looked for: some show no signs.
    #[arg(long = "for", value_name = "DISEASE")]
    looked_for: Option<String>,
}

/// Asks for a size.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct HowMany {
    /// Units in the lot; a large lot unless told.
    #[arg(long)]
    lot_size: Option<u64>,
    /// The share of units with trouble that must not be missed.
    #[arg(long, default_value_t = Settings::default().look_level)]
    level: f64,
    /// How sure to be to find it.
    #[arg(long, default_value_t = Settings::default().look_confidence)]
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
        Sample::Proves(it) => proves(&it),
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

fn proves(it: &Proves) -> Result<Answer, Fault> {
    let look = LookMade::new(it.lot_size, it.sample, it.found, it.efficacy).map_err(refused)?;
    let proof = look.proves(it.confidence).map_err(refused)?;
    let chance = look.chance_of_finding(it.level).map_err(refused)?;
    let (hides, hidden) = hides(it.looked_for.as_deref());
    let mut lines = Vec::new();
    // What hides is said first: the figures behind it hold only for what shows itself.
    lines.extend(hidden);
    lines.push(proof.sentence());
    lines.push(chance.map_or_else(
        || format!("In so small a lot {} of 100 units is less than one.", it.level * 100.0),
        |chance| {
            format!(
                "Trouble in {} of 100 units would have shown in {:.1} of 100 such looks.",
                it.level * 100.0,
                chance * 100.0
            )
        },
    ));
    if it.looked_for.is_some() {
        lines.push("These figures hold only for trouble that shows itself.".to_owned());
    } else {
        lines.push("Looking can't show freedom from what shows no signs.".to_owned());
    }
    let Proof { at_most, share_at_most, .. } = proof;
    let data = json!({
        "at_most": at_most,
        "share_at_most": share_at_most,
        "excluded_from": proof.excluded_from(),
        "confidence": it.confidence,
        "level": it.level,
        "chance_of_finding_level": chance,
        "looked_for": it.looked_for,
        "may_hide": hides,
    });
    Ok(Answer::new("sample-proves", lines.join("\n"), data))
}

/// Whether what was looked for is known to hide, and the sentence on it.
fn hides(looked_for: Option<&str>) -> (Option<&'static str>, Option<String>) {
    let Some(named) = looked_for else { return (None, None) };
    let known = looking_for(named);
    let word = match known {
        MayLookingShow::No(_) => "known",
        MayLookingShow::NotKnown => "not known",
    };
    (Some(word), Some(known.sentence(named)))
}
