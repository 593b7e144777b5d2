//! What a stock book says of how its varieties multiply, by folded name and without ids.
//!
//! What may not enter: which farm's book it is, and its lots one by one.

use std::collections::BTreeMap;

use crate::ledger::Book;
use crate::ledger::book::LossRow;
use crate::shrink::{ShareRecord, YieldRecord};
use crate::words::VarietyId;

/// What was noted of one variety.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct VarietyRecord {
    /// Came up, of planted.
    pub emergence: ShareRecord,
    /// Sound divisions, from clumps.
    pub divisions: YieldRecord,
    /// Units lost to decay, from days that a unit lay in store.
    pub losses: YieldRecord,
}

impl Default for VarietyRecord {
    fn default() -> Self {
        Self {
            emergence: ShareRecord { many: 0, of: 0 },
            divisions: YieldRecord { came: 0, from: 0 },
            losses: YieldRecord { came: 0, from: 0 },
        }
    }
}

impl VarietyRecord {
    /// Both records together.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        let yields = |one: YieldRecord, other: YieldRecord| YieldRecord {
            came: one.came.saturating_add(other.came),
            from: one.from.saturating_add(other.from),
        };
        Self {
            emergence: ShareRecord {
                many: self.emergence.many.saturating_add(other.emergence.many),
                of: self.emergence.of.saturating_add(other.emergence.of),
            },
            divisions: yields(self.divisions, other.divisions),
            losses: yields(self.losses, other.losses),
        }
    }

    /// Whether anything was noted.
    pub const fn tells(&self) -> bool {
        self.emergence.of > 0 || self.divisions.from > 0 || self.losses.from > 0
    }
}

/// What was noted of every variety, by its folded name.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct VarietyRecords(pub BTreeMap<String, VarietyRecord>);

impl VarietyRecords {
    /// Reads a book. Varieties without a name are left out: nobody else can mean them.
    pub fn of(book: &Book) -> Self {
        let mut records: BTreeMap<String, VarietyRecord> = BTreeMap::new();
        let mut add = |variety: VarietyId, record: VarietyRecord| {
            let Some(card) = book.varieties.get(&variety) else { return };
            let sums = records.entry(card.name.key()).or_default();
            *sums = sums.and(record);
        };
        for (variety, (planted, came_up)) in &book.emergence {
            let emergence =
                ShareRecord { many: came_up.get().min(planted.get()), of: planted.get() };
            add(*variety, VarietyRecord { emergence, ..VarietyRecord::default() });
        }
        for (variety, (clumps, sound)) in &book.yields {
            let divisions = YieldRecord { came: sound.get(), from: clumps.get() };
            add(*variety, VarietyRecord { divisions, ..VarietyRecord::default() });
        }
        for lot in book.lots.values() {
            let losses = losses(&lot.loss_rows);
            add(lot.variety, VarietyRecord { losses, ..VarietyRecord::default() });
        }
        Self(records)
    }
}

/// A unit that was lost between two looks is taken to have lain there half of the days.
fn losses(rows: &[LossRow]) -> YieldRecord {
    let (mut lost, mut half_days) = (0_u32, 0_u64);
    for row in rows {
        let gone = row.lost.min(row.inspected);
        lost = lost.saturating_add(gone);
        half_days += (2 * u64::from(row.inspected) - u64::from(gone)) * u64::from(row.days);
    }
    YieldRecord { came: lost, from: u32::try_from(half_days / 2).unwrap_or(u32::MAX) }
}
