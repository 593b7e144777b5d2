//! How a lot is shown, by `lot list`, `lot show` and `status`.

use serde::Serialize;
use spareloop_domain::ledger::Book;
use spareloop_domain::ledger::body::Eyes;
use spareloop_domain::ledger::book::{Lot, LotCondition, Origin};
use spareloop_domain::words::{Count, Day, LotId, Packing, Place, UnitKind};

use crate::find;

/// A lot for people and programs.
#[derive(Debug, Clone, Serialize)]
pub struct LotView {
    /// Its id.
    pub lot: LotId,
    /// Its code.
    pub code: String,
    /// The variety's name.
    pub variety: String,
    /// What a unit is.
    pub unit: UnitKind,
    /// In store by the book.
    pub in_store: Count,
    /// Where it lies.
    pub place: Option<Place>,
    /// What it lies in.
    pub packing: Option<Packing>,
    /// The day it began.
    pub began: Day,
    /// The day it was stored.
    pub stored: Option<Day>,
    /// Last looked at.
    pub last_look: Option<Day>,
    /// Whether eyes were seen.
    pub eyes: Eyes,
    /// `stored`, `woken` or `stopped`.
    pub condition: &'static str,
    /// Where it came from, in words.
    pub origin: String,
    /// The label that it bears besides its code.
    pub label: Option<String>,
}

impl LotView {
    /// The view of a lot.
    pub fn of(book: &Book, lot: &Lot) -> Self {
        Self {
            lot: lot.id,
            code: lot.id.code(),
            variety: find::variety_name(book, lot.variety),
            unit: lot.unit,
            in_store: lot.in_store,
            place: lot.place.clone(),
            packing: lot.packing,
            began: lot.began,
            stored: lot.stored,
            last_look: lot.looks.last().map(|look| look.on),
            eyes: lot.eyes,
            condition: match lot.condition {
                LotCondition::Stored => "stored",
                LotCondition::Woken(_) => "woken",
                LotCondition::Stopped(_) => "stopped",
            },
            origin: origin(&lot.origin),
            label: lot.label.clone(),
        }
    }

    /// A row of a table under [`HEADERS`].
    pub fn row(&self) -> Vec<String> {
        let word = |text: Option<String>| text.unwrap_or_default();
        vec![
            self.code.clone(),
            self.variety.clone(),
            self.in_store.to_string(),
            self.unit.to_string(),
            word(self.place.as_ref().map(ToString::to_string)),
            word(self.packing.map(|packing| packing.to_string())),
            self.last_look.map_or_else(|| "never".to_owned(), |day| day.to_string()),
            if self.condition == "stored" { String::new() } else { self.condition.to_owned() },
        ]
    }
}

/// What stands above the rows of lots.
pub const HEADERS: [&str; 8] =
    ["lot", "variety", "count", "unit", "place", "packing", "last look", ""];

/// Lots in the order people look for them: by variety, unit kind, place, day.
pub fn views(book: &Book, keep: impl Fn(&Lot) -> bool) -> Vec<LotView> {
    let mut views: Vec<LotView> =
        book.lots.values().filter(|lot| keep(lot)).map(|lot| LotView::of(book, lot)).collect();
    let order = |view: &LotView| {
        (view.variety.clone(), view.unit, view.place.clone(), view.began, view.code.clone())
    };
    views.sort_by_cached_key(order);
    views
}

pub(crate) fn origin(origin: &Origin) -> String {
    match origin {
        Origin::Opening(None) => "on hand when the book began".to_owned(),
        Origin::Opening(Some(words)) => format!("on hand when the book began ({words})"),
        Origin::Lifted(bed, planted) => {
            let bed = bed.as_ref().map_or(String::new(), |bed| format!(" from {bed}"));
            let of = planted.map_or(String::new(), |lot| format!(", grown of lot {}", lot.code()));
            format!("lifted{bed}{of}")
        }
        Origin::Divided(lot, None) => format!("divided from lot {}", lot.code()),
        Origin::Divided(lot, Some(session)) => {
            format!("divided from lot {} in session {}", lot.code(), find::session_code(*session))
        }
        Origin::PottedFrom(lot) => format!("potted up from lot {}", lot.code()),
        Origin::CutFrom(lot) => format!("cuttings of lot {}", lot.code()),
        Origin::Received { from, .. } => format!("received from {from}"),
    }
}
