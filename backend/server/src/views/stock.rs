//! A farm's stock, and by which rules it is reckoned.

use std::collections::BTreeMap;
use std::sync::Arc;

use spareloop_api::stock::{LotLine, StockLine, StockView};
use spareloop_domain::belief::Beliefs;
use spareloop_domain::chance::Distribution;
use spareloop_domain::forecast::outlook::{
    Asked, KindOutlook, LotOutlook, Reckoned, lot_outlook, outlook,
};
use spareloop_domain::ledger::Book;
use spareloop_domain::ledger::book::Lot;
use spareloop_domain::ledger::history::survival_history;
use spareloop_domain::settings::Settings;
use spareloop_domain::words::{Count, Day, LotId};

/// The rules and promises by which a farm's stock is reckoned.
#[derive(Debug, Clone)]
pub struct Rules {
    /// The rules of thumb; the server knows no farm's own.
    pub settings: Settings,
    /// What is promised of each lot.
    pub promised: BTreeMap<LotId, Count>,
    /// What is believed of the farm's lots.
    pub beliefs: Arc<Beliefs>,
}

impl Rules {
    /// The rules of thumb, with nothing promised.
    pub fn believing(beliefs: Arc<Beliefs>) -> Self {
        Self { settings: Settings::default(), promised: BTreeMap::new(), beliefs }
    }

    /// What the forecast is asked, as of today.
    pub fn asked(&self, today: Day) -> Asked<'_> {
        Asked {
            today,
            day_without_plan: next_may(today),
            settings: &self.settings,
            promised: &self.promised,
            beliefs: &self.beliefs,
        }
    }
}

/// The coming 10 May, where a variety has no plan (ours, no source; as the command line takes it).
fn next_may(today: Day) -> Day {
    (0..=366)
        .map(|days| today.plus_days(days))
        .find(|day| day.to_string().ends_with("-05-10"))
        .unwrap_or(today)
}

/// The day on which a lot is to be planted: its variety's plan, or else the coming 10 May.
pub fn planting_day(book: &Book, lot: &Lot, today: Day) -> Day {
    book.plans.get(&(lot.variety, lot.unit)).map_or_else(|| next_may(today), |plan| plan.planting)
}

/// Units of a lot that may be left on its planting day; none where they are too many to reckon.
pub fn left_at_planting(book: &Book, lot: &Lot, today: Day, rules: &Rules) -> Option<Distribution> {
    let on = planting_day(book, lot, today);
    let outlook = lot_outlook(lot, Count::ZERO, on, &rules.asked(today));
    outlook.survivors.ok().map(|left| left.distribution)
}

/// The stock by variety and unit kind.
pub fn stock(book: &Book, today: Day, rules: &Rules) -> StockView {
    let lines = outlook(book, &rules.asked(today));
    StockView {
        lines: lines.into_iter().map(|kind| line(kind, book, today)).collect(),
        problems: book.problems.iter().map(|problem| problem.what.to_string()).collect(),
    }
}

fn line(kind: KindOutlook, book: &Book, today: Day) -> StockLine {
    let reckoned = kind.reckoned.as_ref().ok();
    let count = |units: u32| Count::new(i64::from(units)).unwrap_or_default();
    StockLine {
        variety: book
            .varieties
            .get(&kind.variety)
            .map_or_else(|| "(never named)".to_owned(), |card| card.name.to_string()),
        unit: kind.unit,
        in_store: kind.in_store,
        spare: reckoned.and_then(Reckoned::spare).map(count),
        short: reckoned.and_then(Reckoned::short).map(count),
        lots: kind.lots.iter().filter_map(|outlook| lot(outlook, book, today)).collect(),
        sentence: kind.sentence,
    }
}

fn lot(outlook: &LotOutlook, book: &Book, today: Day) -> Option<LotLine> {
    let lot = book.lots.get(&outlook.lot)?;
    Some(LotLine {
        lot: lot.id,
        code: lot.id.code(),
        in_store: outlook.in_store,
        promised: outlook.promised,
        last_look: survival_history(lot, today).last_look,
        place: lot.place.as_ref().map(ToString::to_string),
    })
}
