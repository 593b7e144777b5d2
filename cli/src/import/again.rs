//! A row about a lot that is in the book already: the same lot, or another under its label.
//!
//! What may not enter: what becomes of a row that says something new.

use spareloop_domain::words::{Count, LotId, UnitKind, VarietyId};

use super::preview::Fate;
use super::scratch::{Scratch, Stop};
use crate::find;

/// Skips a row whose lot is in the book, unless the row now says another variety, unit or count.
///
/// A count that the book itself states is none to ask about: what the lot began with, as in the
/// grower's own sheet, or what it holds now, as in a sheet that came out of the book.
pub(super) fn known_again(
    scratch: &Scratch,
    key: &str,
    id: LotId,
    is: (Option<VarietyId>, UnitKind),
    count: Count,
) -> Result<Fate, Stop> {
    same_lot(scratch, id, is)?;
    let before = scratch.memory.before(key).and_then(|row| row.text.split('|').next());
    if before == Some(count.to_string().as_str()) {
        return Ok(Fate::Skipped);
    }
    let Some(lot) = scratch.lot(id) else { return Ok(Fate::Skipped) };
    if [lot.began_with, lot.in_store].contains(&count) {
        return Ok(Fate::Skipped);
    }
    let was = match before {
        Some(before) => format!("was {before} when it was imported"),
        None => format!("was {} at first and is {} in the book", lot.began_with, lot.in_store),
    };
    Err(Stop::Wrong(format!(
        "the count {was}, and the row says {count}. Leave the row as it was and note the count: spareloop lot recount {} --counted N",
        id.code()
    )))
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
