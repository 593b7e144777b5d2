//! The plain comings and goings: opening stock, lifts, receipts, storing, moving, planting,
//! sending, what is coming and what is planned.
//!
//! What may not enter: dividing and checks, which have rooms of their own.

use super::inforce::Noted;
use super::keeper::{Keeper, Source, Way, new_lot};
use crate::ledger::body::{
    BenchSession, CameUp, Coming, Lift, Opening, Plan, Receive, Store, Yield,
};
use crate::ledger::book::{Disagreement, Gone, LotCondition, Origin};
use crate::words::{Count, LotId, Place, UnitKind};

impl Keeper {
    /// Stock on hand when the book begins.
    pub(super) fn open(&mut self, body: &Opening, noted: Noted) {
        let origin = Origin::Opening(body.origin.clone());
        let mut lot = new_lot(body.lot, body.variety, body.unit, body.count, noted.on, origin);
        lot.label.clone_from(&body.label);
        self.begin(lot, Source::CameIn, noted);
    }

    /// Clumps dug. What grew of a stopped lot is stopped.
    pub(super) fn lift(&mut self, body: &Lift, noted: Noted) {
        let (unit, origin) = (UnitKind::Clump, Origin::Lifted(body.bed.clone(), body.planted));
        let mut lot = new_lot(body.lot, body.variety, unit, body.clumps, noted.on, origin);
        lot.label.clone_from(&body.label);
        if let Some(planted) = body.planted.and_then(|id| self.lot(id))
            && matches!(planted.condition, LotCondition::Stopped(_))
        {
            lot.condition = planted.condition;
        }
        self.begin(lot, Source::CameIn, noted);
    }

    /// Stock that came in; what it fulfils of coming stock no longer comes.
    pub(super) fn receive(&mut self, body: &Receive, noted: Noted) {
        let origin = Origin::Received {
            from: body.from.clone(),
            farm: body.from_farm,
            lot: body.from_lot,
            hand_over: body.hand_over,
        };
        let lot = new_lot(body.lot, body.variety, body.unit, body.count, noted.on, origin);
        self.begin(lot, Source::CameIn, noted);
        if let Some(id) = body.coming
            && let Some(coming) = self.book.coming.get_mut(&id)
        {
            coming.count = coming.count.less(body.count);
            if coming.count.is_zero() {
                self.book.coming.remove(&id);
            }
        }
    }

    /// Packed and put in store. The first day stands; packing and place are the newest.
    pub(super) fn store(&mut self, body: &Store, noted: Noted) {
        if let Some(lot) = self.book.lots.get_mut(&body.lot) {
            lot.stored = lot.stored.or(Some(noted.on));
            lot.packing = Some(body.packing);
            lot.place = Some(body.place.clone());
        }
    }

    /// Moved as a whole.
    pub(super) fn move_lot(&mut self, lot: LotId, place: &Place) {
        if let Some(lot) = self.book.lots.get_mut(&lot) {
            lot.place = Some(place.clone());
        }
    }

    /// Brought into warmth; a stopped lot stays stopped.
    pub(super) fn wake_up(&mut self, lot: LotId, noted: Noted) {
        if let Some(lot) = self.book.lots.get_mut(&lot)
            && lot.condition == LotCondition::Stored
        {
            lot.condition = LotCondition::Woken(noted.on);
        }
    }

    /// What came up. More than was planted can't be: reported, and held at what was planted.
    pub(super) fn came_up(&mut self, body: &CameUp, noted: Noted) {
        let Some(lot) = self.lot(body.lot) else { return };
        let variety = lot.variety;
        if body.came_up > body.planted {
            let what =
                Disagreement::SumsDiffer { lot: body.lot, stated: body.planted, sum: body.came_up };
            self.report(what, vec![noted.id]);
        }
        let (planted, came_up) = self.book.emergence.entry(variety).or_default();
        *planted = planted.plus(body.planted);
        *came_up = came_up.plus(body.came_up.min(body.planted));
    }

    /// Divisions that clumps gave, where the dividing itself is not in the ledger.
    pub(super) fn note_yield_record(&mut self, body: &Yield) {
        let (clumps, divisions) = self.book.yields.entry(body.variety).or_default();
        *clumps = clumps.plus(body.clumps);
        *divisions = divisions.plus(body.divisions);
    }

    /// Stock on order or agreed; the newest statement holds.
    pub(super) fn note_coming(&mut self, body: &Coming) {
        if body.count.is_zero() {
            self.book.coming.remove(&body.coming);
        } else {
            self.book.coming.insert(body.coming, body.clone());
        }
    }

    /// The newest plan holds.
    pub(super) fn plan(&mut self, body: &Plan) {
        self.book.plans.insert((body.variety, body.unit), body.clone());
    }

    /// A dividing session.
    pub(super) fn note_session(&mut self, body: &BenchSession) {
        self.book.sessions.insert(body.session, body.clone());
    }

    /// Units planted out or sent: they leave alive.
    pub(super) fn go_out(&mut self, lot: LotId, count: Count, gone: Gone, noted: Noted) {
        self.leave(lot, count, Way::Out(gone), noted);
    }
}
