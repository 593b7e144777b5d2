//! Plants wanted, a variety and unit kind a row.

use super::super::table::{Cell, Table};
use super::Seen;
use crate::find;

/// Makes it.
pub(super) fn table(seen: &Seen<'_>) -> Table {
    let headings =
        vec!["variety", "unit", "plants wanted", "planting day", "keep back", "how sure"];
    let book = &seen.opened.book;
    let mut plans: Vec<_> = book.plans.values().collect();
    plans.sort_by_cached_key(|plan| (find::variety_name(book, plan.variety), plan.unit));
    let rows = plans.into_iter().map(|plan| {
        vec![
            seen.variety_of(plan.variety),
            Cell::text(plan.unit.code()),
            plan.plants_wanted.into(),
            plan.planting.into(),
            Cell::of(plan.keep_back, Cell::from),
            Cell::of(plan.service_level, Cell::Number),
        ]
    });
    Table { name: "plan", rows: rows.collect(), headings }
}
