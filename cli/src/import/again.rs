//! A row about a lot that is in the book already: the same lot, or another under its label.
//!
//! What may not enter: what becomes of a row that says something new.

use spareloop_domain::words::{Count, LotId, UnitKind, VarietyId};

use super::preview::Fate;
use super::scratch::{Scratch, Stop};
use crate::find;

/// Skips a row whose lot is in the book, unless the row now says another variety, unit or count.
pub(super) fn known_again(
    scratch: &Scratch,
    key: &str,
    lot: LotId,
    is: (Option<VarietyId>, UnitKind),
    count: Count,
) -> Result<Fate, Stop> {
    same_lot(scratch, lot, is)?;
    let before = scratch.memory.before(key).and_then(|row| row.text.split('|').next());
    match before {
        Some(before) if before != count.to_string() => Err(Stop::Wrong(format!(
            "the count was {before} when it was imported and is {count} now. Leave the row as it was and note the count: spareloop lot recount {} --counted N",
            lot.code()
        ))),
        _ => Ok(Fate::Skipped),
    }
}

/// Another variety or unit kind under a label that a lot has is another lot.
pub(super) fn same_lot(
    scratch: &Scratch,
    id: LotId,
    (variety, unit): (Option<VarietyId>, UnitKind),
) -> Result<(), Stop> {
    let Some(lot) = scratch.lot(id) else { return Ok(()) };
    if Some(lot.variety) == variety && lot.unit == unit {
        return Ok(());
    }
    Err(Stop::Wrong(format!(
        "the label is that of lot {} in the book ({}, {}); give this lot another label",
        id.code(),
        lot.unit,
        find::variety_name(scratch.book(), lot.variety)
    )))
}
