//! What will survive, what is spare, what is short: as `spareloop forecast` says it.

use spareloop_domain::forecast::outlook::Reckoned;

use super::super::table::{Cell, Table};
use super::Seen;
use crate::commands::forecast::sheet;
use crate::fault::Fault;

/// Makes it.
pub(super) fn table(seen: &Seen<'_>) -> Result<Table, Fault> {
    let headings = vec![
        "variety",
        "unit",
        "day",
        "in store",
        "expected",
        "likely from",
        "likely to",
        "spare",
        "short",
        "promised",
        "coming",
        "in words",
    ];
    let opened = seen.opened;
    let today = seen.desk.settings.today.value;
    let (promised, beliefs) = (&seen.promised, &seen.beliefs);
    let kinds = sheet(&opened.book, &opened.farm, today, None, promised, beliefs)?;
    let rows = kinds.iter().map(|kind| {
        let reckoned = kind.reckoned.as_ref().ok();
        vec![
            seen.variety_of(kind.variety),
            Cell::text(kind.unit.code()),
            kind.on.into(),
            kind.in_store.into(),
            Cell::of(reckoned, |it| Cell::Number(hundredths(it.stock.expected))),
            units(reckoned.map(|it| it.stock.low)),
            units(reckoned.map(|it| it.stock.high)),
            units(reckoned.and_then(Reckoned::spare)),
            units(reckoned.and_then(Reckoned::short)),
            kind.promised.into(),
            kind.coming.into(),
            Cell::text(kind.sentence.clone()),
        ]
    });
    Ok(Table { name: "forecast", rows: rows.collect(), headings })
}

/// More digits than anybody can act on are left out.
fn hundredths(number: f64) -> f64 {
    (number * 100.0).round() / 100.0
}

fn units(count: Option<u32>) -> Cell {
    Cell::of(count, |count| Cell::Whole(i64::from(count)))
}
