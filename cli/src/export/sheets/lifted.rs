//! Clumps lifted, a lot a row.

use spareloop_domain::ledger::book::Origin;

use super::super::table::{Cell, Table};
use super::Seen;

/// Makes it.
pub(super) fn table(seen: &Seen<'_>) -> Table {
    let headings = vec!["lot label", "variety", "clumps", "date", "bed", "tuber code"];
    let lots = seen.lots().into_iter();
    let rows = lots.filter_map(|lot| match &lot.origin {
        Origin::Lifted(bed, _) => Some(vec![
            Cell::text(seen.labels.label(lot.id)),
            seen.variety(lot),
            lot.began_with.into(),
            lot.began.into(),
            Cell::of(bed.as_ref(), Cell::text),
            Cell::text(lot.id.code()),
        ]),
        _ => None,
    });
    Table { name: "lifted", rows: rows.collect(), headings }
}
