//! What is in store, a lot a row.

use super::super::table::{Cell, Table};
use super::Seen;
use super::lots::{condition, origin};

/// Makes it.
pub(super) fn table(seen: &Seen<'_>) -> Table {
    let headings = vec![
        "lot label",
        "variety",
        "unit",
        "count",
        "place",
        "packing",
        "stored on",
        "origin",
        "form",
        "size",
        "colour",
        "last look",
        "condition",
        "tuber code",
    ];
    let lots = seen.lots().into_iter().filter(|lot| !lot.in_store.is_zero());
    let rows = lots.map(|lot| {
        let card = seen.opened.book.varieties.get(&lot.variety);
        let class = |text: Option<&String>| Cell::of(text, Cell::text);
        vec![
            Cell::text(seen.labels.label(lot.id)),
            seen.variety(lot),
            Cell::text(lot.unit.code()),
            lot.in_store.into(),
            Cell::of(lot.place.as_ref(), |place| Cell::text(place.to_string())),
            Cell::of(lot.packing, |packing| Cell::text(packing.code())),
            lot.stored.unwrap_or(lot.began).into(),
            Cell::text(origin(&lot.origin)),
            class(card.and_then(|card| card.form.as_ref())),
            class(card.and_then(|card| card.size.as_ref())),
            class(card.and_then(|card| card.colour.as_ref())),
            Cell::of(lot.looks.last(), |look| look.on.into()),
            Cell::text(condition(lot.condition).0),
            Cell::text(lot.id.code()),
        ]
    });
    Table { name: "stock", rows: rows.collect(), headings }
}
