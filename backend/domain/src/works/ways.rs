//! The ways of keeping stock that a book tells apart, and its looks by two of them.
//!
//! Boxes that one lot was split into are one lot while they are kept the same way. What may not enter:
//! whether a difference is borne (that is [`super::compare`]'s).

use std::collections::{BTreeMap, BTreeSet};

use chrono::Datelike;

use crate::belief::{line, variety_key};
use crate::fit::{LossData, LossLook};
use crate::ledger::Book;
use crate::ledger::body::ToolsBetweenClumps;
use crate::ledger::book::{Lot, Origin};
use crate::words::{LotId, UnitKind, fold_key};

/// What is compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// What stock lies in.
    Packing,
    /// The largest part of where it lies: the cellar, the garage.
    Place,
    /// Clumps divided from August to December against January to July (of the northern half of the
    /// world; common practice, no source).
    Division,
    /// Divided with tools that were disinfected between clumps, or not.
    Tools,
}

impl Way {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Packing, Self::Place, Self::Division, Self::Tools];

    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Packing => "packings",
            Self::Place => "places",
            Self::Division => "autumn and spring division",
            Self::Tools => "tools disinfected between clumps or not",
        }
    }
}

/// How a lot was kept, in words; none if that wasn't noted.
pub fn arm(book: &Book, lot: &Lot, way: Way) -> Option<String> {
    match way {
        Way::Packing => lot.packing.map(|packing| packing.to_string()),
        Way::Place => lot.place.as_ref()?.parts().first().cloned(),
        Way::Division => {
            let month = divided(book, lot)?.began.date().month();
            Some(if month >= 8 { "autumn division" } else { "spring division" }.to_owned())
        }
        Way::Tools => {
            let Origin::Divided(_, Some(session)) = divided(book, lot)?.origin else { return None };
            match book.sessions.get(&session)?.tools {
                ToolsBetweenClumps::Disinfected => Some("disinfected tools".to_owned()),
                ToolsBetweenClumps::NotDisinfected => Some("undisinfected tools".to_owned()),
                ToolsBetweenClumps::NotNoted => None,
            }
        }
    }
}

/// The lot as it came from the bench, before it was split over boxes; none if it was never divided.
fn divided<'a>(book: &'a Book, lot: &'a Lot) -> Option<&'a Lot> {
    let first = line(book, lot).last()?;
    let made = matches!(first.origin, Origin::Divided(..)) && first.unit == UnitKind::Division;
    made.then_some(first)
}

/// The ways there are in a book, each with how many lots of it were looked at; most first. Places that
/// are spelt alike but for case and accents are one.
pub fn arms(book: &Book, way: Way) -> Vec<(String, usize)> {
    let mut lots: BTreeMap<String, (String, BTreeSet<LotId>)> = BTreeMap::new();
    for lot in book.lots.values().filter(|lot| !lot.loss_rows.is_empty()) {
        if let (Some(arm), Some(root)) = (arm(book, lot, way), line(book, lot).last()) {
            let found = lots.entry(fold_key(&arm)).or_insert_with(|| (arm, BTreeSet::new()));
            found.1.insert(root.id);
        }
    }
    let mut arms: Vec<(String, usize)> =
        lots.into_values().map(|(arm, lots)| (arm, lots.len())).collect();
    arms.sort_by(|one, other| other.1.cmp(&one.1).then(one.0.cmp(&other.0)));
    arms
}

/// The looks at lots kept in either of two ways, varieties told apart, the first way first.
pub fn looks(book: &Book, way: Way, two: [&str; 2]) -> LossData {
    let mut data = LossData::comparing(way.words().to_owned(), vec!["variety".to_owned()]);
    let mut spelt: BTreeMap<String, String> = BTreeMap::new();
    for card in book.varieties.values() {
        spelt.entry(card.name.key()).or_insert_with(|| card.name.to_string());
    }
    for wanted in two {
        for lot in book.lots.values().filter(|lot| !lot.loss_rows.is_empty()) {
            let kept = arm(book, lot, way).filter(|arm| fold_key(arm) == fold_key(wanted));
            let (Some(_), Some(root)) = (kept, line(book, lot).last()) else { continue };
            let name = format!("{wanted}/{}", root.id);
            let key = variety_key(book, lot.variety);
            let variety = spelt.get(&key).unwrap_or(&key);
            for row in &lot.loss_rows {
                let lost = row.lost.min(row.inspected);
                let look = LossLook { days: row.days, inspected: row.inspected, lost };
                // A loss within no time tells of no rate: it is left out.
                let _ = data.add_to(wanted, &name, &[variety], look);
            }
        }
    }
    data
}
