//! Storage checks, a look a row. A look that was struck out is in the log, not here.

use std::collections::HashMap;

use spareloop_domain::ledger::Body;
use spareloop_domain::ledger::body::Scope;
use spareloop_domain::words::{Count, EntryId, LossCause};

use super::super::table::{Cell, Table};
use super::Seen;

/// Makes it.
pub(super) fn table(seen: &Seen<'_>) -> Table {
    let mut headings =
        vec!["lot label", "variety", "date", "look", "scope", "inspected", "sound", "doubtful"];
    headings.extend([
        "rot",
        "dried out",
        "frozen",
        "gnawed",
        "broken",
        "culled",
        "mislaid",
        "blind",
        "other",
    ]);
    headings.extend(["sprouted", "entry"]);
    let sprouted = sprouted(seen);
    let mut rows = Vec::new();
    for lot in seen.lots() {
        for look in &lot.looks {
            let lost = |cause: LossCause| -> Count {
                let parts = look.lost.iter().filter(|part| part.cause == cause);
                parts.map(|part| part.count).sum()
            };
            let mut row = vec![
                Cell::text(seen.labels.label(lot.id)),
                seen.variety(lot),
                look.on.into(),
                Cell::text(look.look.code()),
                Cell::text(match look.scope {
                    Scope::Whole => "whole",
                    Scope::Sample => "sample",
                }),
                look.inspected.into(),
                look.sound.into(),
                look.doubtful.into(),
            ];
            row.extend(LossCause::ALL.iter().map(|cause| Cell::from(lost(*cause))));
            row.push(Cell::of(sprouted.get(&look.entry).copied(), Cell::from));
            row.push(Cell::text(crate::journal::entry_code(look.entry)));
            rows.push(row);
        }
    }
    Table { name: "checks", headings, rows }
}

/// What the looks saw sprouted: the book keeps it of the last look only.
fn sprouted(seen: &Seen<'_>) -> HashMap<EntryId, Count> {
    let checks = seen.opened.entries.iter().filter(|entry| entry.kind == "check");
    checks
        .filter_map(|entry| match entry.read_body() {
            Ok(Body::Check(check)) => check.sprouted.map(|count| (entry.id, count)),
            _ => None,
        })
        .collect()
}
