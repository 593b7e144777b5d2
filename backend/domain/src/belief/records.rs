//! What a stock book says of losses, emergence and yields, by variety and packing and without ids, so
//! that records of many farms can be taken together.

use std::collections::{BTreeMap, HashMap};

use crate::ledger::Book;
use crate::ledger::book::{LossRow, Lot, Origin};
use crate::shrink::{ShareRecord, YieldRecord};
use crate::words::{LotId, VarietyId};

/// What one farm's book says.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Records {
    /// Its lots, in the order of the book. Boxes that one lot was split into and that lie in the same
    /// packing are one: the same stock.
    pub lots: Vec<LotRecord>,
    /// Emergence by variety.
    pub emergence: BTreeMap<String, ShareRecord>,
    /// Sound divisions from clumps by variety.
    pub yields: BTreeMap<String, YieldRecord>,
}

/// What was seen of one lot.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LotRecord {
    /// The folded name of its variety, or a key of the farm's own while it has none.
    pub variety: String,
    /// The code of its packing; empty while none is noted.
    pub packing: String,
    /// Looks that told something.
    pub looks: u32,
    /// Its rows that tell something.
    pub rows: Vec<LossRow>,
}

/// Where a lot of the book stands among the records.
#[derive(Debug, Clone, Default)]
pub(super) struct Place {
    /// Index of its record.
    pub(super) record: usize,
    /// Looks at it, those before it was split off included; 0 if none told anything.
    pub(super) looks: u32,
    /// Rows of the lot that it was split from and that lies in another packing now: they speak for
    /// this lot's own forecast and not again for what all lots have in common.
    pub(super) moved: Vec<LossRow>,
}

pub(super) type Places = HashMap<LotId, Place>;

impl Records {
    /// Reads a book.
    pub fn of(book: &Book) -> Self {
        Self::with_places(book).0
    }

    /// Reads a book, and says where each of its lots stands.
    pub(super) fn with_places(book: &Book) -> (Self, Places) {
        let mut records = Self::default();
        let mut known: HashMap<(LotId, String), usize> = HashMap::new();
        let mut places = Places::new();
        for lot in book.lots.values() {
            let packing = packing(lot);
            let at = *known.entry((root(book, lot), packing.clone())).or_insert_with(|| {
                let variety = variety_key(book, lot.variety);
                records.lots.push(LotRecord { variety, packing, ..LotRecord::default() });
                records.lots.len() - 1
            });
            let rows: Vec<LossRow> = telling(&lot.loss_rows).collect();
            let before = telling(&lot.rows_before_split).next().is_some();
            let record = &mut records.lots[at];
            if !rows.is_empty() {
                record.looks = record.looks.saturating_add(number(lot.looks.len()));
            }
            let looks = match (rows.is_empty(), before) {
                (true, false) => 0,
                _ => number(lot.looks_before_split.len() + lot.looks.len()),
            };
            record.rows.extend(rows);
            places.insert(lot.id, Place { record: at, looks, moved: moved(book, lot) });
        }
        for (variety, (planted, came_up)) in &book.emergence {
            let sums = records.emergence.entry(variety_key(book, *variety));
            let sums = sums.or_insert(ShareRecord { many: 0, of: 0 });
            sums.many = sums.many.saturating_add(came_up.min(planted).get());
            sums.of = sums.of.saturating_add(planted.get());
        }
        for (variety, (clumps, divisions)) in &book.yields {
            let sums = records.yields.entry(variety_key(book, *variety));
            let sums = sums.or_insert(YieldRecord { came: 0, from: 0 });
            sums.came = sums.came.saturating_add(divisions.get());
            sums.from = sums.from.saturating_add(clumps.get());
        }
        (records, places)
    }

    /// Lots that were looked at.
    pub fn looked_at(&self) -> impl Iterator<Item = &LotRecord> {
        self.lots.iter().filter(|lot| !lot.rows.is_empty())
    }
}

/// The key on which a variety of one book meets the same variety of another.
pub(crate) fn variety_key(book: &Book, variety: VarietyId) -> String {
    let named = book.varieties.get(&variety).map(|card| card.name.key());
    // No folded name holds a #.
    named.filter(|key| !key.is_empty()).unwrap_or_else(|| format!("#{variety}"))
}

fn packing(lot: &Lot) -> String {
    lot.packing.map_or_else(String::new, |packing| packing.code().to_owned())
}

fn number(of: usize) -> u32 {
    u32::try_from(of).unwrap_or(u32::MAX)
}

/// Rows that tell something; lost above looked at counts as all lost.
fn telling(rows: &[LossRow]) -> impl Iterator<Item = LossRow> + '_ {
    rows.iter()
        .filter(|row| row.inspected > 0 && row.days > 0)
        .map(|row| LossRow { lost: row.lost.min(row.inspected), ..*row })
}

/// The lot that a box was split from.
fn split_from<'a>(book: &'a Book, lot: &Lot) -> Option<&'a Lot> {
    match &lot.origin {
        Origin::Divided(from, _) => book.lots.get(from).filter(|from| from.unit == lot.unit),
        _ => None,
    }
}

/// The lot and those that it was split from, the nearest first; a contradictory book may hold a ring.
pub(crate) fn line<'a>(book: &'a Book, lot: &'a Lot) -> impl Iterator<Item = &'a Lot> {
    std::iter::successors(Some(lot), |lot| split_from(book, lot)).take(book.lots.len())
}

fn root(book: &Book, lot: &Lot) -> LotId {
    line(book, lot).last().map_or(lot.id, |root| root.id)
}

fn moved(book: &Book, lot: &Lot) -> Vec<LossRow> {
    // The last of its line that lies as it does; what that one was split from lies otherwise.
    let Some(here) = line(book, lot).take_while(|one| one.packing == lot.packing).last() else {
        return Vec::new();
    };
    match split_from(book, here) {
        Some(from) if from.packing != lot.packing => telling(&here.rows_before_split).collect(),
        _ => Vec::new(),
    }
}
