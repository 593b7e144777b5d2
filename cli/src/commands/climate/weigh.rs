//! `climate weigh`: samples weighed, to learn the farm's own loss of weight.

use clap::Args;
use spareloop_domain::ledger::body::Weigh as WeighBody;
use spareloop_domain::words::Day;

use crate::commands::noted;
use crate::desk::{Desk, draft};
use crate::fault::Fault;
use crate::find;
use crate::printer::Answer;

/// Notes a weight.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Weigh {
    /// The lot that the sample is of.
    lot: String,
    /// Its weight in grams, without box and packing, or always with the same.
    #[arg(long)]
    grams: f64,
    /// Which sample, if a lot has several.
    #[arg(long, value_name = "NAME")]
    sample: Option<String>,
    /// The day.
    #[arg(long, value_name = "DAY")]
    on: Option<Day>,
}

/// Runs it.
pub(super) fn run(it: Weigh, desk: &Desk) -> Result<Answer, Fault> {
    let sample = it.sample.map(|name| name.trim().to_owned()).filter(|name| !name.is_empty());
    let done = desk.note(|book, before| {
        let lot = find::lot(book, before.farm.id, &it.lot)?.id;
        Ok(vec![draft(desk.day(it.on), WeighBody { lot, sample, grams: it.grams })?])
    })?;
    let next = "Weigh the same tubers again in a few weeks; what it tells: spareloop climate show";
    Ok(noted(desk, &done, &[next.to_owned()]))
}
