//! Which lot a row of a wide sheet is about.
//!
//! What may not enter: looks.

use spareloop_domain::words::{LotId, Place, VarietyId};

use crate::import::cells::Row;
use crate::import::scratch::{Scratch, Stop};
use crate::import::stock;

/// The lot of a row: by label or code, by what a stock sheet of the same columns would have made
/// of it, or as the only one of its variety and place.
pub(super) fn of_row(row: &Row<'_>, scratch: &mut Scratch) -> Result<LotId, Stop> {
    if let Some(label) = row.text("lot label") {
        return scratch.named_lot(label).map_err(|why| {
            Stop::Wrong(format!(
                "{why}   If it isn't in the book yet, import the sheet as stock first: spareloop import stock FILE"
            ))
        });
    }
    let name = row.needed("variety")?;
    let key = stock::key_of(row, name, scratch)?;
    if let Ok(lot) = scratch.lot_of_key(&key) {
        return Ok(lot);
    }
    let Some(variety) = scratch.known_variety(name) else {
        return Err(Stop::Wrong(format!(
            "no lot of {name} is in the book; import the sheet as stock first: spareloop import stock FILE"
        )));
    };
    only_one(row, name, variety, scratch)
}

fn only_one(
    row: &Row<'_>,
    name: &str,
    variety: VarietyId,
    scratch: &Scratch,
) -> Result<LotId, Stop> {
    let place: Option<Place> = row.word("place")?;
    let unit = row.word("unit")?.unwrap_or(row.options.unit);
    let mut found = scratch.book().lots.values().filter(|lot| {
        lot.variety == variety
            && lot.unit == unit
            && place.as_ref().is_none_or(|place| lot.place.as_ref() == Some(place))
    });
    match (found.next(), found.next()) {
        (Some(lot), None) => Ok(lot.id),
        (None, _) => Err(Stop::Wrong(format!(
            "no lot of {name} as the row has it is in the book; import the sheet as stock first: spareloop import stock FILE"
        ))),
        (Some(_), Some(_)) => Err(Stop::Wrong(format!(
            "several lots of {name} could be meant; add a column 'lot label' with the label or code of each"
        ))),
    }
}
