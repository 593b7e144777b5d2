//! Plants wanted: a variety a row.

use spareloop_domain::ledger::body::Plan;

use super::cells::Row;
use super::columns::{Field, needed, optional};
use super::preview::Fate;
use super::scratch::{Scratch, Stop};
use crate::find;

/// The fields of a plan.
pub(super) const FIELDS: &[Field] = &[
    needed("variety", &["cultivar", "variety name", "name"]),
    needed("plants wanted", &["plants", "wanted", "count"]),
    optional("planting day", &["planting", "plant on", "date"]),
    optional("unit", &["unit kind", "from"]),
    optional("keep back", &["kept back", "reserve"]),
];

/// Plans a row.
pub(super) fn plan(row: &Row<'_>, scratch: &mut Scratch) -> Result<Fate, Stop> {
    let name = row.needed("variety")?;
    let plants_wanted =
        row.count("plants wanted")?.ok_or_else(|| "the plants wanted are missing".to_owned())?;
    let planting = row
        .day("planting day")?
        .or_else(|| scratch.planting())
        .ok_or_else(|| "the planting day is missing, and the farm has none".to_owned())?;
    let unit = row.word("unit")?.unwrap_or(row.options.unit);
    let keep_back = row.count("keep back")?;
    let variety = scratch.variety(name, row.options.day(), super::scratch::Classes::default())?;
    let what = format!("{} ({unit})", find::variety_name(scratch.book(), variety));
    scratch.memory.once(&format!("plan:{variety}|{unit}"), &what)?;
    let plan = Plan { variety, unit, plants_wanted, planting, keep_back, service_level: None };
    let fate = match scratch.book().plans.get(&(variety, unit)) {
        Some(holds) if same(holds, &plan) => return Ok(Fate::Skipped),
        Some(holds) => Fate::Changed(format!(
            "{}: {} plants wanted instead of {}",
            find::variety_name(scratch.book(), variety),
            plants_wanted,
            holds.plants_wanted
        )),
        None => Fate::New,
    };
    scratch.note(row.options.day(), plan)?;
    Ok(fate)
}

/// A plan that says how sure to be keeps that beside a file that doesn't.
fn same(holds: &Plan, plan: &Plan) -> bool {
    (holds.plants_wanted, holds.planting, holds.keep_back)
        == (plan.plants_wanted, plan.planting, plan.keep_back)
}
