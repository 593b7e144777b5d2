//! The bookkeeper: the book under construction and the few moves by which units come, go and are
//! lost. Every move changes a lot and its flow together, so conservation holds by construction.
//!
//! What may not enter: the reading of any one kind of entry.

use std::collections::BTreeMap;

use super::groups;
use super::inforce::Noted;
use super::varieties::Named;
use crate::ledger::body::{Check, Eyes};
use crate::ledger::book::{
    Book, Disagreement, Flow, Gone, LossRow, Lot, LotCondition, Origin, Problem, SeenUnits,
};
use crate::ledger::season::LateEntry;
use crate::words::{Count, Day, DeviceId, EntryId, Look, LossCause, LotId, UnitKind, VarietyId};

/// The book under construction, and what the fold must remember besides.
#[derive(Debug, Clone, Default)]
pub(super) struct Keeper {
    /// The book so far, but for varieties, struck-out entries and problems, which are told at the
    /// end.
    pub book: Book,
    /// Where facts disagreed so far.
    pub problems: Vec<Problem>,
    /// Which entry made which lot.
    pub made_by: BTreeMap<LotId, EntryId>,
    /// What is known of varieties, named or not yet.
    pub named: BTreeMap<VarietyId, Named>,
    /// Looks of the day that is being taken in, to see one noted twice. Looks of an earlier day
    /// come later only where they waited for their lot, and then all of them at once.
    pub looks: BTreeMap<(LotId, Day, Look), Vec<LookNoted>>,
    /// The day that is being taken in.
    pub today: Option<Day>,
    /// Entries since the last closing, in the fold's order.
    pub this_season: Vec<LateEntry>,
}

/// A look, by which entry and on which device it was noted.
pub(super) type LookNoted = (DeviceId, EntryId, Check);

/// How units of a new lot came to be there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Source {
    /// From outside.
    CameIn,
    /// Made here.
    Made,
}

/// How units leave a lot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Way {
    /// Alive.
    Out(Gone),
    /// Lost.
    Lost(LossCause),
}

/// A lot at its beginning.
pub(super) fn new_lot(
    id: LotId,
    variety: VarietyId,
    unit: UnitKind,
    count: Count,
    began: Day,
    origin: Origin,
) -> Lot {
    Lot {
        id,
        variety,
        unit,
        in_store: count,
        began_with: count,
        began,
        origin,
        label: None,
        stored: None,
        packing: None,
        place: None,
        eyes: Eyes::NotNoted,
        condition: LotCondition::Stored,
        doubtful: Count::ZERO,
        sprouted: Count::ZERO,
        looks: Vec::new(),
        looks_before_split: Vec::new(),
        last_seen: groups::tidy([SeenUnits { count, on: began }]),
        unassigned_decay: Count::ZERO,
        loss_rows: Vec::new(),
        rows_before_split: Vec::new(),
        lost: BTreeMap::new(),
        gone: BTreeMap::new(),
        found: Count::ZERO,
    }
}

impl Keeper {
    /// What follows is of that day or waited until it.
    pub(super) fn turn_to(&mut self, day: Day) {
        if self.today.replace(day) != Some(day) {
            self.looks.clear();
        }
    }

    /// Notes where facts disagree.
    pub(super) fn report(&mut self, what: Disagreement, entries: Vec<EntryId>) {
        self.problems.push(Problem { what, entries });
    }

    /// A count of all of it says what is there: earlier disagreements about its count are settled.
    pub(super) fn settle_count(&mut self, id: LotId) {
        self.problems.retain(|problem| problem.what.counts_of() != Some(id));
    }

    /// The lot, if it is there.
    pub(super) fn lot(&self, id: LotId) -> Option<&Lot> {
        self.book.lots.get(&id)
    }

    /// The flow of a variety and unit kind.
    pub(super) fn flow(&mut self, variety: VarietyId, unit: UnitKind) -> &mut Flow {
        self.book.flows.entry((variety, unit)).or_default()
    }

    /// Puts a new lot on the book. A second lot of the same id is reported and not added: the
    /// first stands until one of the two entries is struck out.
    pub(super) fn begin(&mut self, lot: Lot, source: Source, noted: Noted) {
        if let Some(first) = self.made_by.get(&lot.id).copied() {
            self.report(Disagreement::MadeTwice { lot: lot.id }, vec![first, noted.id]);
            return;
        }
        self.made_by.insert(lot.id, noted.id);
        let units = i64::from(lot.in_store);
        let flow = self.flow(lot.variety, lot.unit);
        flow.in_store += units;
        match source {
            Source::CameIn => flow.came_in += units,
            Source::Made => flow.made += units,
        }
        self.book.lots.insert(lot.id, lot);
    }

    /// Says how much of `asked` is there, and reports it if that is less.
    pub(super) fn at_most(&mut self, id: LotId, asked: Count, noted: Noted) -> Count {
        let had = self.lot(id).map(|lot| lot.in_store).unwrap_or_default();
        if asked > had {
            let what = Disagreement::TakenMoreThanThere { lot: id, taken: asked, had };
            self.report(what, vec![noted.id]);
        }
        asked.min(had)
    }

    /// Takes units out of a lot; where fewer are there, takes what is there and reports it.
    pub(super) fn leave(
        &mut self,
        id: LotId,
        asked: Count,
        way: Way,
        noted: Noted,
    ) -> Vec<SeenUnits> {
        let units = self.at_most(id, asked, noted);
        if way == Way::Lost(LossCause::Culled) && !asked.is_zero() {
            self.stop(id, noted.on);
        }
        self.remove(id, units, way, noted.on)
    }

    /// Takes out units that are known to be there, in proportion to when they were last seen.
    pub(super) fn remove(&mut self, id: LotId, units: Count, way: Way, on: Day) -> Vec<SeenUnits> {
        let Some(lot) = self.book.lots.get_mut(&id) else { return Vec::new() };
        let units = units.min(lot.in_store);
        let oldest = lot.last_seen.first().map_or(lot.began, |group| group.on);
        let taken = groups::take(&mut lot.last_seen, units.get());
        lot.in_store = lot.in_store.less(units);
        let left_alive = match way {
            Way::Out(gone) => {
                if !units.is_zero() {
                    let sum = lot.gone.entry(gone).or_default();
                    *sum = sum.plus(units);
                }
                units
            }
            Way::Lost(cause) => {
                note_loss(lot, cause, units);
                if cause.is_decay() {
                    lot.unassigned_decay = lot.unassigned_decay.plus(units);
                }
                Count::ZERO
            }
        };
        close_if_empty(lot, oldest, on, left_alive);
        let (variety, unit) = (lot.variety, lot.unit);
        let flow = self.flow(variety, unit);
        flow.in_store -= i64::from(units);
        match way {
            Way::Out(_) => flow.went_out += i64::from(units),
            Way::Lost(_) => flow.lost += i64::from(units),
        }
        taken
    }

    /// Adds units that a recount found; they were seen alive that day.
    pub(super) fn find(&mut self, id: LotId, units: Count, on: Day) {
        let Some(lot) = self.book.lots.get_mut(&id) else { return };
        lot.in_store = lot.in_store.plus(units);
        lot.found = lot.found.plus(units);
        let groups = std::mem::take(&mut lot.last_seen);
        lot.last_seen = groups::tidy(groups.into_iter().chain([SeenUnits { count: units, on }]));
        let (variety, unit) = (lot.variety, lot.unit);
        let flow = self.flow(variety, unit);
        flow.in_store += i64::from(units);
        flow.found += i64::from(units);
    }

    /// Stops a lot; the earliest day stands.
    pub(super) fn stop(&mut self, id: LotId, on: Day) {
        if let Some(lot) = self.book.lots.get_mut(&id) {
            let since = match lot.condition {
                LotCondition::Stopped(since) => since.min(on),
                LotCondition::Stored | LotCondition::Woken(_) => on,
            };
            lot.condition = LotCondition::Stopped(since);
        }
    }
}

/// Adds to what was lost of a lot by cause.
pub(super) fn note_loss(lot: &mut Lot, cause: LossCause, units: Count) {
    if !units.is_zero() {
        let sum = lot.lost.entry(cause).or_default();
        *sum = sum.plus(units);
    }
}

/// When the last unit goes and decay found outside a check still waits for a look, that look never
/// comes: the decay is taken as found over the days since the oldest units were last seen. Units
/// that left alive with that last act were seen then, and count as looked at.
pub(super) fn close_if_empty(lot: &mut Lot, oldest: Day, on: Day, left_alive: Count) {
    if lot.in_store.is_zero() && !lot.unassigned_decay.is_zero() {
        let lost = lot.unassigned_decay.get();
        lot.loss_rows.push(LossRow {
            days: groups::days_of_loss(oldest, on),
            inspected: lost + left_alive.get(),
            lost,
        });
        lot.unassigned_decay = Count::ZERO;
    }
}
