//! Clumps lifted: a lot a row.

use spareloop_domain::ledger::body::Lift;

use super::Fate;
use super::cells::Row;
use super::columns::{Field, needed, optional};
use super::lasting::label_key;
use super::scratch::{Classes, Scratch, Stop};
use spareloop_domain::words::fold_key;

/// The fields of a sheet of lifted clumps.
pub(super) const FIELDS: &[Field] = &[
    needed("variety", &["cultivar", "variety name", "name"]),
    needed("clumps", &["count", "how many", "number"]),
    needed("date", &["lifted on", "day", "dug on"]),
    optional("lot label", &["lot", "label", "code"]),
    optional("bed", &["from", "where from", "row"]),
    optional("form", &["form code"]),
    optional("size", &["size class"]),
    optional("colour", &["color", "colour class", "color class"]),
];

/// Plans a row.
pub(super) fn plan(row: &Row<'_>, scratch: &mut Scratch) -> Result<Fate, Stop> {
    let name = row.needed("variety")?;
    let clumps = row.count("clumps")?.ok_or_else(|| "the clumps are missing".to_owned())?;
    let on = row.day("date")?.ok_or_else(|| "the date is missing".to_owned())?;
    let bed = row.text("bed");
    let key = match row.text("lot label") {
        Some(label) => label_key(label),
        None => {
            scratch.numbered(&format!("lifted:{}|{on}|{}", fold_key(name), bed.unwrap_or_default()))
        }
    };
    let Err(lot) = scratch.lot_of_key(&key) else { return Ok(Fate::Skipped) };
    let variety = scratch.variety(name, on, Classes::of(row))?;
    scratch.begin(on, Lift { lot, variety, clumps, bed: bed.map(ToOwned::to_owned) })?;
    scratch.remember(&key, clumps.to_string(), lot);
    Ok(Fate::New)
}
