//! The label by which a sheet named a lot, as far as it is known here; else the lot's code, which an
//! import understands as well.
//!
//! The lot's own entry has it. Where a lot came before entries had labels, it is in the lot's id,
//! which can be checked but not read, and is looked for in what imports remember.

use std::collections::BTreeMap;

use diesel::SqliteConnection;
use spareloop_domain::ledger::Book;
use spareloop_domain::ledger::book::Lot;
use spareloop_domain::words::{FarmId, LotId};

use crate::book::{BookError, imports};
use crate::import::lasting;

/// Kinds of file whose rows begin a lot.
const KINDS: [&str; 3] = ["stock", "lifted", "bench"];

/// Labels by lot, as imports remember them: in small letters.
pub(super) fn remembered(
    connection: &mut SqliteConnection,
) -> Result<BTreeMap<LotId, String>, BookError> {
    let mut labels = BTreeMap::new();
    for kind in KINDS {
        for (key, row) in imports::rows(connection, kind)? {
            if let Some(label) = key.strip_prefix("label:") {
                labels.insert(row.lot, label.to_owned());
            }
        }
    }
    Ok(labels)
}

/// Labels by lot.
pub(super) struct Labels(BTreeMap<LotId, String>);

impl Labels {
    /// Those that name their lot beyond doubt.
    pub(super) fn of(book: &Book, farm: FarmId, remembered: &BTreeMap<LotId, String>) -> Self {
        let names = |lot: &Lot, label: &str| {
            lasting::labelled(book, farm, label).is_some_and(|named| named.id == lot.id)
        };
        let label = |lot: &Lot| {
            let candidates = [lot.label.as_deref(), remembered.get(&lot.id).map(String::as_str)];
            candidates.into_iter().flatten().find(|label| names(lot, label)).map(ToOwned::to_owned)
        };
        let labels = book.lots.values().filter_map(|lot| label(lot).map(|label| (lot.id, label)));
        Self(labels.collect())
    }

    /// What a sheet calls the lot.
    pub(super) fn label(&self, lot: LotId) -> String {
        self.0.get(&lot).cloned().unwrap_or_else(|| lot.code())
    }
}
