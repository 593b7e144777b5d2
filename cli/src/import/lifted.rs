//! Clumps lifted: a lot a row.

use spareloop_domain::ledger::body::Lift;
use spareloop_domain::words::{UnitKind, fold_key};

use super::again::known_again;
use super::cells::Row;
use super::columns::{Field, needed, optional};
use super::preview::Fate;
use super::scratch::{Classes, Scratch, Stop};

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
    let label = row.text("lot label");
    let key = match label {
        Some(label) => scratch.memory.label(label)?,
        None => scratch.memory.numbered(&format!(
            "lifted:{}|{on}|{}",
            fold_key(name),
            bed.unwrap_or_default()
        )),
    };
    let lot = match scratch.lot_of_row(&key, row.text("lot label")) {
        Err(lot) => lot,
        Ok(lot) => {
            let is = (scratch.known_variety(name), UnitKind::Clump);
            return known_again(scratch, &key, lot, is, clumps);
        }
    };
    let variety = scratch.variety(name, on, Classes::of(row))?;
    let (bed, label) = (bed.map(ToOwned::to_owned), label.map(ToOwned::to_owned));
    scratch.begin(on, Lift { lot, variety, clumps, bed, label, planted: None })?;
    scratch.memory.remember(&key, clumps.to_string(), lot);
    Ok(Fate::New)
}
