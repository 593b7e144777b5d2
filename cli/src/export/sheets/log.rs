//! What was noted, in the order of the days, with what was struck out, by whom and why.

use spareloop_domain::ledger::Entry;

use super::super::table::{Cell, Table};
use super::Seen;
use crate::journal::Journal;

/// Makes it.
pub(super) fn table(seen: &Seen<'_>) -> Table {
    let headings = vec![
        "on",
        "entry",
        "kind",
        "says",
        "lots",
        "noted by",
        "noted at",
        "struck out on",
        "struck out by",
        "why",
        "device",
        "place in chain",
    ];
    let opened = seen.opened;
    let journal = Journal::of(&opened.book, &opened.entries, &seen.devices);
    let mut entries: Vec<&Entry> = opened.entries.iter().collect();
    entries.sort_by_key(|entry| entry.order());
    let rows = entries.into_iter().map(|entry| {
        let noted = journal.noted(entry);
        let strike = noted.strike_out;
        let struck_by = match (strike, noted.struck_out) {
            (Some(strike), _) => Cell::text(journal.device(strike.device)),
            (None, true) => Cell::text("unknown"),
            (None, false) => Cell::Empty,
        };
        vec![
            noted.on.into(),
            Cell::text(noted.code.clone()),
            Cell::text(noted.kind),
            Cell::text(noted.says.clone()),
            Cell::text(noted.lots.join(" ")),
            Cell::text(journal.device(noted.device)),
            Cell::Moment(noted.at.millis),
            Cell::of(strike, |strike| strike.on.into()),
            struck_by,
            Cell::of(strike.and_then(|strike| strike.why.as_ref()), Cell::text),
            Cell::text(noted.device.to_string()),
            Cell::Whole(i64::try_from(noted.seq.get()).unwrap_or(i64::MAX)),
        ]
    });
    Table { name: "log", rows: rows.collect(), headings }
}
