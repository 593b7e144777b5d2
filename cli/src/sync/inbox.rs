//! Pages of the feed: kept whole, together with the cursor, or not at all.

use spareloop_api::sync::Page;
use spareloop_domain::ledger::sync::{Epoch, Position};
use spareloop_domain::planted::{self, Bug};

use super::chains::{Keeper, Kept, Misfit};
use crate::book::link::{self, Link};
use crate::book::{BookError, Keep, StockBook, entries};
use crate::fault::Fault;
use crate::fresh::Fresh;

/// Forgets how far the feed was read; it is read from its start, in this life of the server.
pub(super) fn rewind(book: &mut StockBook, epoch: &Epoch) -> Result<(), Fault> {
    book.write(Keep::Kept, |connection| {
        entries::forget_positions(connection)?;
        link::change(connection, |link| {
            if !planted::is(Bug::CursorKeptOverRestore) {
                link.cursor = 0;
            }
            link.epoch = Some(epoch.0.clone());
        })
    })?;
    Ok(())
}

/// What became of a page.
pub(super) enum PageKept {
    /// It doesn't answer the question, or the book has moved on.
    Stale,
    /// An entry of it doesn't fit what this device holds of its chain.
    Misfit(Misfit),
    Kept(KeptPage),
}

/// A page that is kept.
pub(super) struct KeptPage {
    pub(super) new: u64,
    pub(super) said: Vec<String>,
    pub(super) last: Position,
}

/// A page that doesn't fit rolls its transaction back.
enum Unkept {
    Misfit(Misfit),
    Fault(Fault),
}

impl<E: Into<Fault>> From<E> for Unkept {
    fn from(error: E) -> Self {
        Self::Fault(error.into())
    }
}

/// Keeps a page and moves the cursor in one transaction.
pub(super) fn keep_page(
    book: &mut StockBook,
    after: Position,
    page: &Page,
    fresh: &mut dyn Fresh,
) -> Result<PageKept, Fault> {
    let asked_for = page.entries.iter().zip(after.0 + 1..).all(|(one, at)| one.position == at);
    let Some(last) = page.entries.last().filter(|_| asked_for) else { return Ok(PageKept::Stale) };
    let last = Position(last.position);
    let after = if planted::is(Bug::CursorBeforePage) {
        move_cursor_early(book, after, last, page)?
    } else {
        after
    };
    let kept = book.write(Keep::Kept, |connection| {
        let Some(link) = link::find(connection)?.filter(|link| goes_on(link, after, page)) else {
            return Ok(None);
        };
        let mut kept = Kept::default();
        let mut keeper = Keeper::begin(connection, fresh)?;
        for positioned in &page.entries {
            keeper.keep(positioned, &mut kept)?.map_err(Unkept::Misfit)?;
        }
        keeper.end()?;
        let epoch = Some(page.epoch.clone());
        link::put(connection, &Link { cursor: last.0, epoch, ..link })?;
        Ok(Some(KeptPage { new: kept.new, said: kept.said, last }))
    });
    match kept {
        Ok(kept) => Ok(kept.map_or(PageKept::Stale, PageKept::Kept)),
        Err(Unkept::Misfit(misfit)) => Ok(PageKept::Misfit(misfit)),
        Err(Unkept::Fault(fault)) => Err(fault),
    }
}

/// What [`keep_page`] does together with the page, done before it: only where the simulation plants
/// that mistake.
fn move_cursor_early(
    book: &mut StockBook,
    after: Position,
    last: Position,
    page: &Page,
) -> Result<Position, Fault> {
    Ok(book.write(Keep::Kept, |connection| {
        let Some(link) = link::find(connection)?.filter(|link| goes_on(link, after, page)) else {
            return Ok::<_, BookError>(after);
        };
        let epoch = Some(page.epoch.clone());
        link::put(connection, &Link { cursor: last.0, epoch, ..link })?;
        Ok(last)
    })?)
}

/// Whether the book stands where it stood when the page was asked for.
fn goes_on(link: &Link, after: Position, page: &Page) -> bool {
    link.cursor == after.0 && link.epoch.as_ref().is_none_or(|epoch| *epoch == page.epoch)
}
