//! Stock on hand: a lot a row.

use spareloop_domain::ledger::body::{Move, Opening, Store};
use spareloop_domain::words::{Count, Day, LotId, Packing, Place, UnitKind, fold_key};

use super::Fate;
use super::again::known_again;
use super::cells::Row;
use super::columns::{Field, needed, optional};
use super::scratch::{Classes, Scratch, Stop};

/// The fields of a stock file.
pub(super) const FIELDS: &[Field] = &[
    needed("variety", &["cultivar", "variety name", "name", "dahlia", "sort"]),
    needed(
        "count",
        &["how many", "number", "qty", "quantity", "units", "amount", "tubers", "in store"],
    ),
    optional("unit", &["unit kind", "kind", "what"]),
    optional("place", &["where", "location", "shelf", "store", "tote", "box", "crate"]),
    optional("packing", &["packed in", "medium", "packing medium"]),
    optional("stored on", &["stored", "date stored", "date", "packed on", "counted on"]),
    optional("origin", &["from", "where from", "source of stock", "bed"]),
    optional("lot label", &["lot", "label", "lot code", "code", "tag"]),
    optional("form", &["form code"]),
    optional("size", &["size class"]),
    optional("colour", &["color", "colour class", "color class"]),
];

/// The place of stock whose packing is told and whose place isn't.
const NO_PLACE: &str = "place not noted";

struct Line {
    count: Count,
    unit: UnitKind,
    on: Day,
    place: Option<Place>,
    packing: Option<Packing>,
}

impl Line {
    fn read(row: &Row<'_>) -> Result<Self, String> {
        let count = row.count("count")?.ok_or("the count is missing")?;
        if count.is_zero() {
            return Err("the count is 0".to_owned());
        }
        Ok(Self {
            count,
            unit: row.word("unit")?.unwrap_or(row.options.unit),
            on: row.day("stored on")?.unwrap_or(row.options.on),
            place: row.word("place")?,
            packing: row.word("packing")?.or(row.options.packing),
        })
    }

    /// What later imports of the row are compared with.
    fn text(&self) -> String {
        let word = |text: Option<String>| text.unwrap_or_default();
        let place = word(self.place.as_ref().map(ToString::to_string));
        let packing = word(self.packing.map(|packing| packing.code().to_owned()));
        format!("{}|{place}|{packing}", self.count)
    }
}

/// Plans a row.
pub(super) fn plan(row: &Row<'_>, scratch: &mut Scratch) -> Result<Fate, Stop> {
    let name = row.needed("variety")?;
    let line = Line::read(row)?;
    let key = key(row, name, &line, scratch)?;
    let lot = match scratch.memory.before(&key) {
        Some(before) if scratch.lot(before.lot).is_some() => Ok(before.lot),
        _ => scratch.lot_of_key(&key),
    };
    match lot {
        Ok(lot) => {
            let is = (scratch.known_variety(name), line.unit);
            known_again(scratch, &key, lot, is, line.count)?;
            changed(&key, lot, line, row.options.on, scratch)
        }
        Err(lot) => new(row, &key, lot, name, line, scratch),
    }
}

/// The label, or without one everything but the count.
fn key(row: &Row<'_>, name: &str, line: &Line, scratch: &mut Scratch) -> Result<String, String> {
    if let Some(label) = row.text("lot label") {
        return scratch.memory.label(label);
    }
    let place = line.place.as_ref().map(ToString::to_string).unwrap_or_default();
    let stored = row.text("stored on").map(|_| line.on.to_string()).unwrap_or_default();
    let origin = row.text("origin").unwrap_or_default();
    let unit = line.unit.code();
    let name = fold_key(name);
    Ok(scratch.memory.numbered(&format!("stock:{name}|{unit}|{place}|{stored}|{origin}")))
}

fn new(
    row: &Row<'_>,
    key: &str,
    lot: LotId,
    name: &str,
    line: Line,
    scratch: &mut Scratch,
) -> Result<Fate, Stop> {
    let text = line.text();
    let variety = scratch.variety(name, line.on, Classes::of(row))?;
    let word = |field| row.text(field).map(ToOwned::to_owned);
    let (unit, count) = (line.unit, line.count);
    let (origin, label) = (word("origin"), word("lot label"));
    let opening = Opening { lot, variety, unit, count, origin, label };
    scratch.begin(line.on, opening)?;
    put_away(lot, line, scratch)?;
    scratch.memory.remember(key, text, lot);
    Ok(Fate::New)
}

fn put_away(lot: LotId, line: Line, scratch: &mut Scratch) -> Result<(), Stop> {
    match (line.packing, line.place) {
        (Some(packing), place) => {
            let place = match place {
                Some(place) => place,
                None => NO_PLACE
                    .parse()
                    .map_err(|error: spareloop_domain::words::PlaceError| error.to_string())?,
            };
            scratch.store(line.on, Store { lot, packing, place })
        }
        (None, Some(place)) => scratch.move_to(line.on, Move { lot, place }),
        (None, None) => Ok(()),
    }
}

/// A row that is in the book: skipped, unless the file says now what it didn't say before.
fn changed(
    key: &str,
    lot: LotId,
    line: Line,
    today: Day,
    scratch: &mut Scratch,
) -> Result<Fate, Stop> {
    let text = line.text();
    let Some(before) = scratch.memory.before(key).map(|row| row.text.clone()) else {
        return Ok(Fate::Skipped);
    };
    if before == text {
        return Ok(Fate::Skipped);
    }
    let what = line
        .place
        .as_ref()
        .map_or_else(|| "other packing".to_owned(), |place| format!("now at {place}"));
    put_away(lot, Line { on: today, ..line }, scratch)?;
    scratch.memory.remember(key, text, lot);
    Ok(Fate::Changed(what))
}
