//! `compute`: JSON in, JSON out, the same functions that the rest uses.

use std::io::Read;

use clap::Args;
use spareloop_domain::compute;

use crate::fault::Fault;
use crate::printer::Answer;

/// Reads one JSON document on standard input and writes one on standard output.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  echo '{\"temperature_c\":7.2,\"relative_humidity\":0.85}' | spareloop compute vapour
  echo '{\"lot_size\":200,\"level\":0.05,\"confidence\":0.95,\"efficacy\":1.0}' |
    spareloop compute sample-size
Kinds: sample-size, detection, interval, vapour, dilution, loss-fit, loss-forecast, spare,
loop-values.
Probabilities are fractions, days whole numbers, temperatures in °C, pressures in kPa. Bad input:
exit 3, a message that names the field, nothing on standard output.")]
pub struct Compute {
    /// What to compute.
    kind: String,
}

/// Most bytes of one document.
const MOST_BYTES: u64 = 16 * 1024 * 1024;

/// Runs it.
pub fn run(it: Compute) -> Result<Answer, Fault> {
    let mut bytes = Vec::new();
    std::io::stdin().lock().take(MOST_BYTES + 1).read_to_end(&mut bytes).map_err(|error| {
        Fault::refused(format!("Standard input can't be read: {error}."), "Give one JSON document.")
    })?;
    if bytes.len() as u64 > MOST_BYTES {
        return Err(Fault::refused(
            "The document is larger than 16 MiB; nothing was computed.",
            "Split it and compute the parts one by one.",
        ));
    }
    let input = String::from_utf8(bytes).map_err(|_| {
        Fault::refused("The document is not UTF-8 text; nothing was computed.", "Save it as UTF-8.")
    })?;
    let output = compute::run(&it.kind, &input).map_err(|error| {
        Fault::refused(
            format!("{error}."),
            "Correct it and try again; see: spareloop compute --help",
        )
    })?;
    Ok(Answer::as_it_is("compute", output))
}
