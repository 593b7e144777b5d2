//! What lots held on a day, for looks that come to the book after it.
//!
//! What was lost in looks since then was still there; whatever else left or joined a lot since
//! then is seen by folding the book as of that day.
//!
//! What may not enter: what this import adds.

use std::cell::{OnceCell, RefCell};
use std::collections::HashMap;

use spareloop_domain::ledger::book::Lot;
use spareloop_domain::ledger::{Body, Entry, fold_until};
use spareloop_domain::words::{Count, Day, LotId};

/// The book's entries, asked for what lots held.
#[derive(Debug)]
pub(super) struct Held {
    entries: Vec<Entry>,
    /// The last day on which something but a look changed a lot's count.
    moved: OnceCell<HashMap<LotId, Day>>,
    folded: RefCell<HashMap<Day, HashMap<LotId, Count>>>,
}

impl Held {
    /// Begins with all entries of the book.
    pub(super) fn of(entries: Vec<Entry>) -> Self {
        Self { entries, moved: OnceCell::new(), folded: RefCell::default() }
    }

    fn moved(&self) -> HashMap<LotId, Day> {
        let mut moved = HashMap::new();
        for entry in &self.entries {
            let Ok(body) = entry.read_body() else { continue };
            if !changes_counts(&body) {
                continue;
            }
            for lot in body.lots_needed() {
                let last = moved.entry(lot).or_insert(entry.on);
                *last = entry.on.max(*last);
            }
        }
        moved
    }

    /// What a lot held at a day's end by the book alone; none where only looks changed it since.
    pub(super) fn on(&self, lot: LotId, on: Day) -> Option<Count> {
        let moved = self.moved.get_or_init(|| self.moved());
        if moved.get(&lot).is_none_or(|last| *last <= on) {
            return None;
        }
        let mut folded = self.folded.borrow_mut();
        let lots = folded.entry(on).or_insert_with(|| {
            let lots = fold_until(&self.entries, on).lots;
            lots.into_iter().map(|(id, lot)| (id, lot.in_store)).collect()
        });
        Some(lots.get(&lot).copied().unwrap_or_default())
    }
}

/// Units that looks after a day found lost: they were there on it.
pub(super) fn lost_later(lot: &Lot, on: Day) -> Count {
    let later = lot.looks.iter().filter(|look| look.on > on);
    later.flat_map(|look| &look.lost).map(|part| part.count).sum()
}

/// Whether an entry may change what a lot holds, other than a look.
const fn changes_counts(body: &Body) -> bool {
    !matches!(
        body,
        Body::Check(_)
            | Body::Store(_)
            | Body::Move(_)
            | Body::Wash(_)
            | Body::Dry(_)
            | Body::WakeUp(_)
    )
}
