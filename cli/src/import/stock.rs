//! Stock on hand: a lot a row.

use spareloop_domain::ledger::body::{Move, Opening, Store};
use spareloop_domain::words::{Count, Day, LotId, Packing, Place, UnitKind, fold_key};

use super::again::known_again;
use super::cells::Row;
use super::columns::{Field, needed, optional};
use super::preview::Fate;
use super::scratch::{Classes, Scratch, Stop};

/// Headings that name a variety.
pub(super) const VARIETY_ALIASES: &[&str] = &["cultivar", "variety name", "name", "dahlia", "sort"];
/// Headings that hold the count that a lot began with.
pub(super) const COUNT_ALIASES: &[&str] = &[
    "how many",
    "number",
    "qty",
    "quantity",
    "units",
    "amount",
    "tubers",
    "in store",
    "start",
    "start count",
    "at the start",
    "stored count",
];
/// Headings that hold a lot's label.
pub(super) const LABEL_ALIASES: &[&str] = &["lot", "label", "lot code", "code", "tag"];
/// A lot's label, or its code.
pub(super) const LABEL: Field = optional("lot label", LABEL_ALIASES);
/// What a unit is.
pub(super) const UNIT: Field = optional("unit", &["unit kind", "kind", "what"]);
/// Where a lot lies.
pub(super) const PLACE: Field =
    optional("place", &["where", "location", "shelf", "store", "tote", "box", "crate"]);
/// The day a lot was stored.
pub(super) const STORED_ON: Field =
    optional("stored on", &["stored", "date stored", "date", "packed on", "counted on"]);
/// Where a lot came from.
pub(super) const ORIGIN: Field =
    optional("origin", &["from", "where from", "source of stock", "bed"]);

/// The fields of a stock file.
pub(super) const FIELDS: &[Field] = &[
    needed("variety", VARIETY_ALIASES),
    needed("count", COUNT_ALIASES),
    UNIT,
    PLACE,
    optional("packing", &["packed in", "medium", "packing medium"]),
    STORED_ON,
    ORIGIN,
    LABEL,
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
            on: row.day("stored on")?.unwrap_or_else(|| row.began()),
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
    let key = key_of(row, name, scratch)?;
    let lot = match scratch.memory.before(&key) {
        Some(before) if scratch.lot(before.lot).is_some() => Ok(before.lot),
        _ => scratch.lot_of_row(&key, row.text("lot label")),
    };
    match lot {
        Ok(lot) => {
            let is = (scratch.known_variety(name), line.unit);
            known_again(scratch, &key, lot, is, line.count)?;
            changed(&key, lot, line, row.options.day(), scratch)
        }
        Err(lot) => new(row, &key, lot, name, line, scratch),
    }
}

/// The label, or without one everything but the count.
pub(super) fn key_of(row: &Row<'_>, name: &str, scratch: &mut Scratch) -> Result<String, String> {
    if let Some(label) = row.text("lot label") {
        return scratch.memory.label(label);
    }
    let place: Option<Place> = row.word("place")?;
    let place = place.as_ref().map(ToString::to_string).unwrap_or_default();
    let stored = row.day("stored on")?.map(|day| day.to_string()).unwrap_or_default();
    let origin = row.text("origin").unwrap_or_default();
    let unit: UnitKind = row.word("unit")?.unwrap_or(row.options.unit);
    let (name, unit) = (fold_key(name), unit.code());
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

/// A row that is in the book: skipped, unless the file says another place or packing now than it
/// said before and than the book says.
fn changed(
    key: &str,
    id: LotId,
    line: Line,
    today: Day,
    scratch: &mut Scratch,
) -> Result<Fate, Stop> {
    let text = line.text();
    let where_to = |text: &str| text.split_once('|').map(|(_, rest)| rest.to_owned());
    let before = scratch.memory.before(key).map(|row| where_to(&row.text));
    if before.is_none_or(|before| before == where_to(&text)) {
        return Ok(Fate::Skipped);
    }
    let lies_there = scratch.lot(id).is_some_and(|lot| {
        (line.place.is_none() || line.place == lot.place)
            && (line.packing.is_none() || line.packing == lot.packing)
    });
    if lies_there {
        return Ok(Fate::Skipped);
    }
    let what = line
        .place
        .as_ref()
        .map_or_else(|| "other packing".to_owned(), |place| format!("now at {place}"));
    put_away(id, Line { on: today, ..line }, scratch)?;
    scratch.memory.remember(key, text, id);
    Ok(Fate::Changed(what))
}
