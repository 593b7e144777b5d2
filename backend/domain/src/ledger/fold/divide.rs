//! Dividing and potting up: one lot becomes several.
//!
//! How conservation stays exact, per unit kind:
//!
//! - *split* (every lot made is of the same kind): discards are lost from that kind directly, the
//!   rest goes out of the old lot and is made in the new ones; taken = made + discards.
//! - *change of kind* (clumps into divisions): what is taken goes out as units of the old kind;
//!   every piece, kept or not, is made as a unit of the new kind, and the discards are lost from
//!   it. With lots of several new kinds the discards count under the first of them.
//! - *nothing kept*: the units taken are lost as units of the old kind; pieces of a clump are no
//!   units and are not counted.
//!
//! What may not enter: checks and losses in store.

use super::groups;
use super::inforce::Noted;
use super::keeper::{Keeper, Source, Way, new_lot};
use crate::ledger::body::{Discard, Divide, Eyes, MadeLot, PotUp, TakeCuttings};
use crate::ledger::book::{Disagreement, Gone, Lot, LotCondition, Origin, SeenUnits};
use crate::words::{Count, DiscardReason, LossCause, LotId, UnitKind};

/// What kind of dividing it was.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Dividing {
    Split,
    ChangeOfKind(UnitKind),
    NothingKept,
}

fn dividing(from: UnitKind, made: &[MadeLot]) -> Dividing {
    match made.iter().find(|lot| lot.unit != from) {
        Some(lot) => Dividing::ChangeOfKind(lot.unit),
        None if made.is_empty() => Dividing::NothingKept,
        None => Dividing::Split,
    }
}

/// The cause under which a unit discarded at the bench is lost.
const fn cause(reason: DiscardReason) -> LossCause {
    match reason {
        DiscardReason::Rot => LossCause::Rot,
        DiscardReason::DriedOut => LossCause::DriedOut,
        DiscardReason::BrokenNeck => LossCause::Broken,
        DiscardReason::Suspicious => LossCause::Culled,
        DiscardReason::NoEye => LossCause::Blind,
        DiscardReason::TooSmall | DiscardReason::Other => LossCause::Other,
    }
}

impl Keeper {
    /// One lot becomes several.
    pub(super) fn divide(&mut self, divide: &Divide, noted: Noted) {
        let Some(from) = self.lot(divide.from).cloned() else { return };
        let made: Count = divide.made.iter().map(|lot| lot.count).sum();
        let discarded: Count = divide.discards.iter().map(|discard| discard.count).sum();
        let sum = made.plus(discarded);
        let lot = divide.from;
        if let Some(stated) = divide.pieces.filter(|pieces| *pieces != sum) {
            self.report(Disagreement::SumsDiffer { lot, stated, sum }, vec![noted.id]);
        }
        let kind = dividing(from.unit, &divide.made);
        let must_agree = match kind {
            Dividing::Split => true,
            Dividing::NothingKept => from.unit != UnitKind::Clump && !divide.discards.is_empty(),
            Dividing::ChangeOfKind(_) => false,
        };
        if must_agree && divide.taken != sum {
            let what = Disagreement::SumsDiffer { lot, stated: divide.taken, sum };
            self.report(what, vec![noted.id]);
        }
        let taken = self.at_most(divide.from, divide.taken, noted);
        match kind {
            Dividing::Split => self.split(divide, &from, taken, noted),
            Dividing::ChangeOfKind(unit) => {
                self.change_kind(divide, &from, (taken, unit, discarded), noted);
            }
            Dividing::NothingKept => {
                self.discard_units(divide.from, &divide.discards, taken, noted);
                let rest = taken.less(discarded);
                self.remove(divide.from, rest, Way::Lost(LossCause::Other), noted.on);
            }
        }
        self.note_yield(&from, &divide.made, taken);
        if divide
            .discards
            .iter()
            .any(|d| d.reason == DiscardReason::Suspicious && !d.count.is_zero())
        {
            self.stop(divide.from, noted.on);
        }
    }

    /// Takes discarded units out of the lot, at most `taken`, and returns how many.
    fn discard_units(
        &mut self,
        from: LotId,
        discards: &[Discard],
        taken: Count,
        noted: Noted,
    ) -> Count {
        let mut gone = Count::ZERO;
        for discard in discards {
            let units = discard.count.min(taken.less(gone));
            self.remove(from, units, Way::Lost(cause(discard.reason)), noted.on);
            gone = gone.plus(units);
        }
        gone
    }

    fn split(&mut self, divide: &Divide, before: &Lot, taken: Count, noted: Noted) {
        let gone = self.discard_units(divide.from, &divide.discards, taken, noted);
        let going = taken.less(gone);
        let waiting = self.split_unassigned(divide, going);
        let mut pool = self.remove(divide.from, going, Way::Out(Gone::Divided), noted.on);
        for (made, unassigned) in divide.made.iter().zip(waiting) {
            let inherited = groups::take(&mut pool, made.count.get());
            let unseen = made.count.get() - groups::total(&inherited);
            let extra = SeenUnits { count: groups::count(unseen), on: noted.on };
            let mut lot = made_lot(before, divide, made, noted);
            lot.last_seen = groups::tidy(inherited.into_iter().chain([extra]));
            lot.stored = before.stored;
            lot.packing = before.packing;
            lot.place.clone_from(&before.place);
            lot.unassigned_decay = unassigned;
            if made.eyes == Eyes::NotNoted {
                lot.eyes = before.eyes;
            }
            lot.looks_before_split =
                before.looks_before_split.iter().chain(&before.looks).cloned().collect();
            lot.rows_before_split =
                before.rows_before_split.iter().chain(&before.loss_rows).copied().collect();
            self.begin(lot, Source::Made, noted);
        }
    }

    /// Decay that waits for a look goes along with the units whose fellows it was, so that the
    /// next look over each box counts its share once.
    fn split_unassigned(&mut self, divide: &Divide, going: Count) -> Vec<Count> {
        let caps = vec![u32::MAX; divide.made.len()];
        let sizes: Vec<u64> = divide.made.iter().map(|made| u64::from(made.count.get())).collect();
        let made: u64 = sizes.iter().sum();
        let Some(lot) = self.book.lots.get_mut(&divide.from) else {
            return vec![Count::ZERO; sizes.len()];
        };
        let staying = lot.in_store.less(going).get();
        let along = if made == 0 {
            0
        } else {
            let sides = [u64::from(going.get()), u64::from(staying)];
            groups::apportion(lot.unassigned_decay.get(), &sides, &[u32::MAX; 2])[0]
        };
        lot.unassigned_decay = lot.unassigned_decay.less(groups::count(along));
        groups::apportion(along, &sizes, &caps).into_iter().map(groups::count).collect()
    }

    fn change_kind(
        &mut self,
        divide: &Divide,
        before: &Lot,
        (taken, unit, discarded): (Count, UnitKind, Count),
        noted: Noted,
    ) {
        self.remove(divide.from, taken, Way::Out(Gone::Divided), noted.on);
        let flow = self.flow(before.variety, unit);
        flow.made += i64::from(discarded);
        flow.lost += i64::from(discarded);
        for made in &divide.made {
            self.begin(made_lot(before, divide, made, noted), Source::Made, noted);
        }
    }

    /// Clumps that were divided also say how many sound divisions a clump gives.
    fn note_yield(&mut self, from: &Lot, made: &[MadeLot], taken: Count) {
        let into_divisions =
            made.is_empty() || made.iter().any(|lot| lot.unit == UnitKind::Division);
        if from.unit == UnitKind::Clump && into_divisions && !taken.is_zero() {
            let sound: Count =
                made.iter().filter(|lot| lot.unit == UnitKind::Division).map(|lot| lot.count).sum();
            let (clumps, divisions) = self.book.yields.entry(from.variety).or_default();
            *clumps = clumps.plus(taken);
            *divisions = divisions.plus(sound);
        }
    }

    /// Units are potted: they leave one lot and are another, awake.
    pub(super) fn pot_up(&mut self, body: &PotUp, noted: Noted) {
        let Some(from) = self.lot(body.from).cloned() else { return };
        self.leave(body.from, body.taken, Way::Out(Gone::PottedUp), noted);
        let origin = Origin::PottedFrom(body.from);
        let mut lot = new_lot(body.lot, from.variety, body.unit, body.made, noted.on, origin);
        lot.condition = awake(from.condition, noted);
        lot.eyes = from.eyes;
        self.begin(lot, Source::Made, noted);
    }

    /// Cuttings are made; the mother survives.
    pub(super) fn take_cuttings(&mut self, body: &TakeCuttings, noted: Noted) {
        let Some(mother) = self.lot(body.mother).cloned() else { return };
        let (unit, origin) = (UnitKind::RootedCutting, Origin::CutFrom(body.mother));
        let mut lot = new_lot(body.lot, mother.variety, unit, body.made, noted.on, origin);
        lot.condition = awake(mother.condition, noted);
        self.begin(lot, Source::Made, noted);
    }
}

/// What is made of a stopped lot is stopped; all else that grows is awake.
const fn awake(mother: LotCondition, noted: Noted) -> LotCondition {
    match mother {
        LotCondition::Stopped(since) => LotCondition::Stopped(since),
        LotCondition::Stored | LotCondition::Woken(_) => LotCondition::Woken(noted.on),
    }
}

fn made_lot(before: &Lot, divide: &Divide, made: &MadeLot, noted: Noted) -> Lot {
    let origin = Origin::Divided(divide.from, divide.session);
    let mut lot = new_lot(made.lot, before.variety, made.unit, made.count, noted.on, origin);
    lot.label.clone_from(&made.label);
    lot.eyes = made.eyes;
    lot.condition = before.condition;
    lot
}
