//! `lot`, the kinds that spring and summer bring: wash, dry, pot up, cuttings, plant out, came up,
//! yield, seen in the field.

use clap::{Args, Subcommand};
use spareloop_domain::ledger::body::{
    CameUp as CameUpBody, Dry as DryBody, FieldObservation, PlantOut as PlantOutBody,
    PotUp as PotUpBody, TakeCuttings, Wash as WashBody, Yield as YieldBody,
};
use spareloop_domain::words::{Count, Day, FarmId, LotId, UnitKind};

use super::lot::{code_lines, lot_note, with_lots};
use super::noted;
use crate::desk::{Desk, draft};
use crate::fault::Fault;
use crate::find;
use crate::printer::Answer;

/// What else can be done with lots.
#[derive(Debug, Subcommand)]
pub enum Later {
    /// Note that lots were washed.
    #[command(after_help = "Example: spareloop lot wash 7KQ4M D3XPA")]
    Wash(Wash),
    /// Note that lots were dried before storing.
    #[command(after_help = "Example: spareloop lot dry 7KQ4M D3XPA --days 2")]
    Dry(Dry),
    /// Note units potted up: they leave one lot and are another.
    #[command(after_help = "Example: spareloop lot pot-up 7KQ4M --taken 5")]
    PotUp(PotUp),
    /// Note cuttings taken; the mother lot survives.
    #[command(after_help = "Example: spareloop lot cuttings 7KQ4M --made 8")]
    Cuttings(Cuttings),
    /// Note units planted out.
    #[command(after_help = "Example: spareloop lot plant-out 7KQ4M --count 20 --bed 'bed 5'")]
    PlantOut(PlantOut),
    /// Note how many of what was planted came up.
    #[command(after_help = "Example: spareloop lot came-up 7KQ4M --planted 20 --came-up 18")]
    CameUp(Emerged),
    /// Note how many sound divisions clumps of a variety gave.
    #[command(
        after_help = "Example: spareloop lot yield 'Ember Lantern' --clumps 10 --divisions 42"
    )]
    Yield(Yield),
    /// Note something seen in the field.
    #[command(
        after_help = "Example: spareloop lot seen 'Ember Lantern' 'first flower, true to name'"
    )]
    Seen(Seen),
}

/// Washed.
#[derive(Debug, Args)]
pub struct Wash {
    /// The lots, by code or id.
    #[arg(required = true)]
    lots: Vec<String>,
    /// The day.
    #[arg(long, value_name = "DAY")]
    on: Option<Day>,
}

/// Dried.
#[derive(Debug, Args)]
pub struct Dry {
    /// The lots, by code or id.
    #[arg(required = true)]
    lots: Vec<String>,
    /// For how many days.
    #[arg(long)]
    days: Option<u16>,
    /// The day.
    #[arg(long, value_name = "DAY")]
    on: Option<Day>,
}

/// Potted up.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct PotUp {
    /// The lot, by code or id.
    lot: String,
    /// Units taken.
    #[arg(long)]
    taken: Count,
    /// Units made; unless told, as many.
    #[arg(long)]
    made: Option<Count>,
    /// What a unit of the new lot is.
    #[arg(long, default_value = "started-plant")]
    unit: UnitKind,
    /// The day.
    #[arg(long, value_name = "DAY")]
    on: Option<Day>,
}

/// Cuttings taken.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Cuttings {
    /// The mother lot.
    lot: String,
    /// How many were made.
    #[arg(long)]
    made: Count,
    /// The day.
    #[arg(long, value_name = "DAY")]
    on: Option<Day>,
}

/// Planted out.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct PlantOut {
    /// The lot, by code or id.
    lot: String,
    /// How many.
    #[arg(long)]
    count: Count,
    /// Where.
    #[arg(long)]
    bed: Option<String>,
    /// The day.
    #[arg(long, value_name = "DAY")]
    on: Option<Day>,
}

/// Came up.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Emerged {
    /// The lot, by code or id.
    lot: String,
    /// Planted and looked at.
    #[arg(long)]
    planted: Count,
    /// Came up.
    #[arg(long)]
    came_up: Count,
    /// The day.
    #[arg(long, value_name = "DAY")]
    on: Option<Day>,
}

/// Yield per clump.
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
pub struct Yield {
    /// The variety.
    variety: String,
    /// Clumps divided.
    #[arg(long)]
    clumps: Count,
    /// Sound divisions.
    #[arg(long)]
    divisions: Count,
    /// The day.
    #[arg(long, value_name = "DAY")]
    on: Option<Day>,
}

/// Seen in the field.
#[derive(Debug, Args)]
pub struct Seen {
    /// The variety.
    variety: String,
    /// What was seen.
    text: String,
    /// The lot that was planted there.
    #[arg(long)]
    lot: Option<String>,
    /// The day.
    #[arg(long, value_name = "DAY")]
    on: Option<Day>,
}

/// Runs it.
pub fn run(command: Later, desk: &Desk) -> Result<Answer, Fault> {
    match command {
        Later::Wash(it) => {
            let done = desk.note(|book, before| {
                let lots = lots(book, before.farm.id, &it.lots)?;
                Ok(vec![draft(desk.day(it.on), WashBody { lots })?])
            })?;
            Ok(noted(desk, &done, &[]))
        }
        Later::Dry(it) => {
            let done = desk.note(|book, before| {
                let lots = lots(book, before.farm.id, &it.lots)?;
                Ok(vec![draft(desk.day(it.on), DryBody { lots, days: it.days })?])
            })?;
            Ok(noted(desk, &done, &[]))
        }
        Later::PotUp(it) => pot_up(it, desk),
        Later::Cuttings(it) => cuttings(it, desk),
        Later::PlantOut(it) => lot_note(desk, &it.lot, it.on, |_, lot| {
            Ok(PlantOutBody { lot, count: it.count, bed: it.bed }.into())
        }),
        Later::CameUp(it) => lot_note(desk, &it.lot, it.on, |_, lot| {
            Ok(CameUpBody { lot, planted: it.planted, came_up: it.came_up }.into())
        }),
        Later::Yield(it) => {
            let done = desk.note(|book, _| {
                let variety = find::variety(book, &it.variety)?.id;
                let body = YieldBody { variety, clumps: it.clumps, divisions: it.divisions };
                Ok(vec![draft(desk.day(it.on), body)?])
            })?;
            Ok(noted(desk, &done, &[]))
        }
        Later::Seen(it) => {
            let done = desk.note(|book, before| {
                let variety = find::variety(book, &it.variety)?.id;
                let lot = it
                    .lot
                    .map(|text| find::lot(book, before.farm.id, &text).map(|lot| lot.id))
                    .transpose()?;
                let body = FieldObservation { lot, variety, text: it.text };
                Ok(vec![draft(desk.day(it.on), body)?])
            })?;
            Ok(noted(desk, &done, &[]))
        }
    }
}

fn lots(
    book: &spareloop_domain::ledger::Book,
    farm: FarmId,
    texts: &[String],
) -> Result<Vec<LotId>, Fault> {
    texts.iter().map(|text| find::lot(book, farm, text).map(|lot| lot.id)).collect()
}

fn pot_up(it: PotUp, desk: &Desk) -> Result<Answer, Fault> {
    let mut made = Vec::new();
    let done = desk.note(|book, before| {
        let from = find::lot(book, before.farm.id, &it.lot)?.id;
        let lot = find::new_lot(book, &[])?;
        made.push(lot);
        let body = PotUpBody {
            from,
            taken: it.taken,
            lot,
            unit: it.unit,
            made: it.made.unwrap_or(it.taken),
        };
        Ok(vec![draft(desk.day(it.on), body)?])
    })?;
    Ok(with_lots(noted(desk, &done, &code_lines(&made)), &made))
}

fn cuttings(it: Cuttings, desk: &Desk) -> Result<Answer, Fault> {
    let mut made = Vec::new();
    let done = desk.note(|book, before| {
        let mother = find::lot(book, before.farm.id, &it.lot)?.id;
        let lot = find::new_lot(book, &[])?;
        made.push(lot);
        Ok(vec![draft(desk.day(it.on), TakeCuttings { mother, lot, made: it.made })?])
    })?;
    Ok(with_lots(noted(desk, &done, &code_lines(&made)), &made))
}
