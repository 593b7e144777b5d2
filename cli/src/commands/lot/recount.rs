//! `lot recount`, and what becomes of a count that differs from the book's: a count is a statement,
//! so the difference is explained and never written over.

use spareloop_domain::ledger::body::Recount as RecountBody;
use spareloop_domain::ledger::book::Lot;
use spareloop_domain::words::{Count, LossCause};

use super::super::noted;
use super::args::Recount;
use crate::desk::{Desk, draft};
use crate::fault::Fault;
use crate::find;
use crate::printer::Answer;

/// What the grower says of a count that differs from the book's.
#[derive(Debug, Clone, Copy)]
pub(in crate::commands) enum Difference {
    /// Those that are missing went this way.
    Missing(LossCause),
    /// More were found.
    Found,
    /// Nothing yet.
    NotSaid,
}

/// Whether `--found` was given.
pub(in crate::commands) const fn said(missing: Option<LossCause>, found: bool) -> Difference {
    match missing {
        Some(cause) => Difference::Missing(cause),
        None if found => Difference::Found,
        None => Difference::NotSaid,
    }
}

/// Runs it.
pub(super) fn run(it: Recount, desk: &Desk) -> Result<Answer, Fault> {
    let said = said(it.missing, it.found);
    let on = desk.day(it.on);
    let done = desk.note(|book, before| {
        let lot = find::lot(book, before.farm.id, &it.lot)?;
        let then = before.standing(book, on)?;
        let lot = then.lots.get(&lot.id).unwrap_or(lot);
        Ok(vec![draft(on, recount_of(lot, it.counted, said, "")?)?])
    })?;
    Ok(noted(desk, &done, &[]))
}

/// The recount that a count means; a difference that nobody explained is asked about, with `or` as
/// another way out.
pub(in crate::commands) fn recount_of(
    lot: &Lot,
    counted: Count,
    said: Difference,
    or: &str,
) -> Result<RecountBody, Fault> {
    let (book, code) = (lot.in_store, lot.id.code());
    let of = |missing| Ok(RecountBody { lot: lot.id, counted, missing });
    let what =
        |how: String| format!("Counted {counted} in lot {code} where the book says {book}: {how}.");
    let fault = match said {
        Difference::Missing(cause) if counted < book => return of(Some(cause)),
        Difference::Found if counted > book => return of(None),
        Difference::NotSaid if counted == book => return of(None),
        Difference::Missing(_) => {
            Fault::refused(what("none is missing".to_owned()), "Leave --missing out.")
        }
        Difference::Found => {
            Fault::refused(what("none was found".to_owned()), "Leave --found out.")
        }
        Difference::NotSaid if counted < book => Fault::decision(
            what(format!("{} missing", book.less(counted))),
            format!(
                "{or}{} what became of the missing ones, as: --missing mislaid",
                if or.is_empty() { "Say" } else { "Else say" }
            ),
        ),
        Difference::NotSaid => Fault::decision(
            what(format!("{} more", counted.less(book))),
            format!("{or}If they were found, give --found."),
        ),
    };
    Err(fault.keeping("Nothing was noted."))
}
