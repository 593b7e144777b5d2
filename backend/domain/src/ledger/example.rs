//! One invented farm writing on few devices, for tests that read as sentences.
#![allow(clippy::unwrap_used)]

use super::body::{
    Body, Check, Divide, Eyes, Loss, LostUnits, MadeLot, Opening, Scope, Send, VarietyNote,
};
use super::book::{Book, Flow};
use super::fold::fold;
use super::generate::{Dice, Scribe};
use crate::words::{Count, Day, EntryId, Look, LossCause, LotId, Purpose, UnitKind, VarietyId};

pub(crate) fn n(count: u16) -> Count {
    count.into()
}

pub(crate) fn day(text: &str) -> Day {
    text.parse().unwrap()
}

/// One farm writing on one device.
pub(crate) struct Farm {
    pub dice: Dice,
    pub scribe: Scribe,
    pub variety: VarietyId,
}

impl Farm {
    pub(crate) fn new(devices: u32) -> Self {
        let mut dice = Dice::new(11);
        let scribe = Scribe::new(&mut dice, devices);
        let variety = VarietyId::new(dice.id());
        let mut farm = Self { dice, scribe, variety };
        let name = "Ember Lantern".parse().unwrap();
        farm.note("2025-10-01", VarietyNote::naming(variety, name));
        farm
    }

    pub(crate) fn note(&mut self, on: &str, body: impl Into<Body>) -> EntryId {
        self.scribe.write(&mut self.dice, day(on), body.into())
    }

    pub(crate) fn lot(&mut self) -> LotId {
        LotId::new(self.dice.id())
    }

    pub(crate) fn opening(&mut self, on: &str, unit: UnitKind, count: u16) -> LotId {
        let (lot, variety) = (self.lot(), self.variety);
        self.note(on, Opening { lot, variety, unit, count: n(count), origin: None, label: None });
        lot
    }

    pub(crate) fn lose(&mut self, on: &str, lot: LotId, count: u16, cause: LossCause) -> EntryId {
        self.note(on, Loss { lot, count: n(count), cause })
    }

    pub(crate) fn send(&mut self, on: &str, lot: LotId, count: u16) -> EntryId {
        let (to, purpose) = ("a neighbour".to_owned(), Purpose::Swap);
        self.note(on, Send { lot, count: n(count), purpose, to, to_farm: None, hand_over: None })
    }

    pub(crate) fn split(&mut self, on: &str, from: LotId, taken: u16, boxes: &[u16]) -> Vec<LotId> {
        let lots: Vec<LotId> = boxes.iter().map(|_| self.lot()).collect();
        let made = lots
            .iter()
            .zip(boxes)
            .map(|(lot, count)| MadeLot {
                lot: *lot,
                unit: UnitKind::Division,
                count: n(*count),
                eyes: Eyes::NotNoted,
                label: None,
            })
            .collect();
        let taken = n(taken);
        self.note(
            on,
            Divide { from, taken, made, discards: Vec::new(), pieces: None, session: None },
        );
        lots
    }

    pub(crate) fn book(&self) -> Book {
        fold(&self.scribe.written)
    }

    pub(crate) fn flow(&self, unit: UnitKind) -> Flow {
        self.book().flows[&(self.variety, unit)]
    }
}

/// A look that found the rest sound.
pub(crate) fn look(lot: LotId, scope: Scope, inspected: u16, lost: &[(LossCause, u16)]) -> Check {
    let gone: u16 = lost.iter().map(|(_, count)| count).sum();
    Check {
        lot,
        look: Look::Unpacked,
        scope,
        inspected: n(inspected),
        sound: n(inspected - gone),
        doubtful: Count::ZERO,
        lost: lost
            .iter()
            .map(|(cause, count)| LostUnits { cause: *cause, count: n(*count) })
            .collect(),
        sprouted: None,
    }
}
