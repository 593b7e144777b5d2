//! The farms' stock books, folded from their ledgers and kept while nothing was added.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};

use spareloop_domain::ledger::Book;
use spareloop_domain::words::FarmId;

use crate::store::LedgerSeen;
use crate::{StoreError, Tx, ledger};

/// Most books kept at a time; the one not asked for longest goes first.
const MOST: usize = 64;

/// A farm's ledger up to its newest entry. The hash is part of it because a restored server may
/// reach the same position with other entries.
#[derive(Debug, Clone, PartialEq, Eq)]
struct UpTo {
    farm: FarmId,
    position: i64,
    hash: String,
}

/// Books that were folded lately.
#[derive(Debug, Default)]
pub(crate) struct Books(Mutex<VecDeque<(UpTo, Arc<Book>)>>);

impl Books {
    fn get(&self, up_to: &UpTo) -> Option<Arc<Book>> {
        let mut books = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let at = books.iter().position(|(known, _)| known == up_to)?;
        let found = books.remove(at)?;
        let book = Arc::clone(&found.1);
        books.push_back(found);
        Some(book)
    }

    fn keep(&self, up_to: UpTo, book: &Arc<Book>) {
        let mut books = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        books.retain(|(known, _)| known.farm != up_to.farm);
        if books.len() >= MOST {
            books.pop_front();
        }
        books.push_back((up_to, Arc::clone(book)));
    }
}

/// The farm's stock book as of this transaction.
pub fn farm_book(tx: &mut Tx<'_>, farm: FarmId) -> Result<Arc<Book>, StoreError> {
    let Some((position, hash)) = ledger::newest(tx, farm)? else {
        return Ok(Arc::default());
    };
    let up_to = UpTo { farm, position, hash };
    // Entries of a transaction under way may be rolled back and their positions given to others.
    let committed = tx.ledger == LedgerSeen::Committed;
    if committed && let Some(book) = tx.books.get(&up_to) {
        return Ok(book);
    }
    let book =
        Arc::new(spareloop_domain::ledger::fold(&ledger::entries_up_to(tx, farm, position)?));
    if committed {
        tx.books.keep(up_to, &book);
    }
    Ok(book)
}
