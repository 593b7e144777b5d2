//! Where facts disagree, in words that a grower can act on.

use super::super::table::{Cell, Table};
use super::Seen;
use crate::journal::entry_code;

/// Makes it.
pub(super) fn table(seen: &Seen<'_>) -> Table {
    let rows = seen.opened.book.problems.iter().map(|problem| {
        let entries: Vec<String> = problem.entries.iter().map(|entry| entry_code(*entry)).collect();
        vec![Cell::text(problem.what.to_string()), Cell::text(entries.join(" "))]
    });
    Table { name: "problems", headings: vec!["problem", "entries"], rows: rows.collect() }
}
