//! Every lot that ever was, also those at 0, with all that the book says of it.

use spareloop_domain::ledger::body::Eyes;
use spareloop_domain::ledger::book::{LotCondition, Origin};
use spareloop_domain::words::{Day, LossCause};

use super::super::table::{Cell, Table};
use super::Seen;
use crate::commands::stock;

/// Makes it.
pub(super) fn table(seen: &Seen<'_>) -> Table {
    let mut headings = vec![
        "tuber code",
        "lot label",
        "variety",
        "unit",
        "in store",
        "began on",
        "began with",
        "place",
        "packing",
        "stored on",
        "eyes",
        "condition",
        "since",
        "origin",
        "last look",
        "doubtful",
        "sprouted",
    ];
    headings.extend(LOST);
    headings.push("lot id");
    let rows = seen.lots().into_iter().map(|lot| {
        let (condition, since) = condition(lot.condition);
        let mut row = vec![
            Cell::text(lot.id.code()),
            Cell::text(seen.labels.label(lot.id)),
            seen.variety(lot),
            Cell::text(lot.unit.code()),
            lot.in_store.into(),
            lot.began.into(),
            lot.began_with.into(),
            Cell::of(lot.place.as_ref(), |place| Cell::text(place.to_string())),
            Cell::of(lot.packing, |packing| Cell::text(packing.code())),
            Cell::of(lot.stored, Cell::from),
            Cell::text(match lot.eyes {
                Eyes::Eyed => "eyed",
                Eyes::NotYetEyed => "not yet eyed",
                Eyes::NotNoted => "not noted",
            }),
            Cell::text(condition),
            Cell::of(since, Cell::from),
            Cell::text(origin(&lot.origin)),
            Cell::of(lot.looks.last(), |look| look.on.into()),
            lot.doubtful.into(),
            lot.sprouted.into(),
        ];
        let lost = |cause: &LossCause| lot.lost.get(cause).copied().unwrap_or_default();
        row.extend(LossCause::ALL.iter().map(|cause| Cell::from(lost(cause))));
        row.push(Cell::text(lot.id.to_string()));
        row
    });
    Table { name: "lots", rows: rows.collect(), headings }
}

/// A column for every cause of loss, in the order of [`LossCause::ALL`].
const LOST: [&str; LossCause::ALL.len()] =
    ["rot", "dried out", "frozen", "gnawed", "broken", "culled", "mislaid", "blind", "other"];

/// In a word, and since when.
pub(super) const fn condition(it: LotCondition) -> (&'static str, Option<Day>) {
    match it {
        LotCondition::Stored => ("stored", None),
        LotCondition::Woken(since) => ("woken", Some(since)),
        LotCondition::Stopped(since) => ("stopped", Some(since)),
    }
}

/// Where it came from, in words that stay the same when they come in again.
pub(super) fn origin(it: &Origin) -> String {
    match it {
        Origin::Opening(words) => words.clone().unwrap_or_default(),
        other => stock::origin(other),
    }
}
