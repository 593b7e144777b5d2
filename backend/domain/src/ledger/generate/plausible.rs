//! A winter that a small farm could have had. Invented.

use super::{Dice, Scribe, day, units};
use crate::ledger::Entry;
use crate::ledger::body::{
    BenchSession, Body, CameUp, Check, Coming, Discard, Divide, Eyes, Lift, Loss, LostUnits,
    MadeLot, Move, Plan, PlantOut, Receive, Recount, Scope, Send, Solution, Store,
    ToolsBetweenClumps, VarietyNote, WakeUp,
};
use crate::words::{
    ComingId, DiscardReason, Look, LossCause, LotId, Packing, Place, Purpose, SessionId, UnitKind,
    VarietyId,
};

/// Names that no variety bears, to our knowledge.
const NAMES: [&str; 8] = [
    "Ember Lantern",
    "Tin Orchard",
    "Quiet Furnace",
    "Moth Harbour",
    "Paper Comet",
    "Salt Parlour",
    "Old Marmalade",
    "Winter Argument",
];

/// What the author of the winter believes to be in store.
#[derive(Debug, Clone)]
struct Believed {
    lot: LotId,
    variety: VarietyId,
    unit: UnitKind,
    there: u32,
}

#[derive(Debug)]
struct Author {
    dice: Dice,
    scribe: Scribe,
    lots: Vec<Believed>,
    varieties: Vec<VarietyId>,
    session: Option<SessionId>,
    today: u32,
}

/// Some `entries` entries (a few more for the beginning) of one farm's winter, in the order in
/// which they were written, over up to three devices. The same seed gives the same ledger.
pub fn plausible(seed: u64, entries: usize) -> Vec<Entry> {
    let mut dice = Dice::new(seed);
    let devices = 1 + dice.below(3);
    let scribe = Scribe::new(&mut dice, devices);
    let mut author =
        Author { dice, scribe, lots: Vec::new(), varieties: Vec::new(), session: None, today: 0 };
    author.autumn();
    while author.scribe.written.len() < entries {
        author.today += author.dice.below(4);
        author.act();
    }
    author.scribe.written
}

impl Author {
    fn note(&mut self, body: impl Into<Body>) {
        // Now and then something is noted a day or two late.
        let late = if self.dice.happens(10) { self.dice.below(3) } else { 0 };
        let on = day(self.today.saturating_sub(late));
        self.scribe.write(&mut self.dice, on, body.into());
    }

    fn autumn(&mut self) {
        for name in NAMES.iter().take(3) {
            let variety = VarietyId::new(self.dice.id());
            self.varieties.push(variety);
            if let Ok(name) = name.parse() {
                self.note(VarietyNote::naming(variety, name));
            }
            self.lift(variety);
            let wanted = units(10 + self.dice.below(40));
            self.note(Plan {
                variety,
                unit: UnitKind::Division,
                plants_wanted: wanted,
                planting: day(220),
                keep_back: None,
                service_level: None,
            });
        }
    }

    fn lift(&mut self, variety: VarietyId) {
        let lot = LotId::new(self.dice.id());
        let there = 3 + self.dice.below(15);
        self.note(Lift {
            lot,
            variety,
            clumps: units(there),
            bed: Some("north bed".to_owned()),
            label: None,
            planted: None,
        });
        self.lots.push(Believed { lot, variety, unit: UnitKind::Clump, there });
    }

    fn act(&mut self) {
        let live = self.lots.iter().filter(|lot| lot.there > 0).count();
        let index = self.dice.below(u32::try_from(live).unwrap_or(0)) as usize;
        let chosen = self.lots.iter().position({
            let mut seen = 0;
            move |lot| {
                let here = lot.there > 0 && seen == index;
                seen += usize::from(lot.there > 0);
                here
            }
        });
        let Some(at) = chosen else {
            if let Some(variety) = self.dice.pick(&self.varieties).copied() {
                self.receive(variety);
            }
            return;
        };
        match self.dice.below(16) {
            0..=3 if self.lots[at].unit == UnitKind::Clump => self.divide(at),
            0 => self.split(at),
            1..=3 => self.store(at),
            4..=7 => self.look(at, Scope::Whole),
            8..=9 => self.look(at, Scope::Sample),
            10 => self.lose(at),
            11 => self.recount(at),
            12 => self.send(at),
            13 => self.plant(at),
            14 => self.receive(self.lots[at].variety),
            _ => self.on_order(at),
        }
    }

    fn divide(&mut self, at: usize) {
        let clumps = self.lots[at].clone();
        let taken = 1 + self.dice.below(clumps.there);
        let made = taken * (2 + self.dice.below(5));
        let discarded = self.dice.below(taken + 1);
        let lot = LotId::new(self.dice.id());
        if self.session.is_none() || self.dice.happens(30) {
            self.sit_down(clumps.lot);
        }
        self.note(Divide {
            from: clumps.lot,
            taken: units(taken),
            made: vec![MadeLot {
                lot,
                unit: UnitKind::Division,
                count: units(made),
                eyes: Eyes::NotYetEyed,
                label: None,
            }],
            discards: vec![Discard { reason: DiscardReason::NoEye, count: units(discarded) }],
            pieces: Some(units(made + discarded)),
            session: self.session,
        });
        self.lots[at].there -= taken;
        let variety = clumps.variety;
        self.lots.push(Believed { lot, variety, unit: UnitKind::Division, there: made });
    }

    fn sit_down(&mut self, lot: LotId) {
        let session = SessionId::new(self.dice.id());
        self.session = Some(session);
        self.note(BenchSession {
            session,
            lots: vec![lot],
            tools: ToolsBetweenClumps::Disinfected,
            tool_dip: Some(Solution {
                agent: "household bleach".to_owned(),
                strength_percent: Some(0.5),
                minutes: Some(1.0),
                made_up: None,
                label_percent: None,
            }),
            soak: None,
            tool_sets: None,
            until: None,
        });
    }

    fn split(&mut self, at: usize) {
        let box_one = self.lots[at].clone();
        let taken = 1 + self.dice.below(box_one.there);
        let lot = LotId::new(self.dice.id());
        self.note(Divide {
            from: box_one.lot,
            taken: units(taken),
            made: vec![MadeLot {
                lot,
                unit: box_one.unit,
                count: units(taken),
                eyes: Eyes::NotNoted,
                label: None,
            }],
            discards: Vec::new(),
            pieces: None,
            session: None,
        });
        self.lots[at].there -= taken;
        self.lots.push(Believed { lot, there: taken, ..box_one });
    }

    fn store(&mut self, at: usize) {
        let lot = self.lots[at].lot;
        let place: Result<Place, _> = format!("cellar / tote {}", self.dice.below(9)).parse();
        let Ok(place) = place else { return };
        if self.dice.happens(50) {
            let packing = *self.dice.pick(Packing::ALL).unwrap_or(&Packing::Other);
            self.note(Store { lot, packing, place });
        } else {
            self.note(Move { lot, place });
        }
    }

    fn look(&mut self, at: usize, scope: Scope) {
        let Believed { lot, there, .. } = self.lots[at];
        let inspected = match scope {
            Scope::Whole => there,
            Scope::Sample => 1 + self.dice.below(there),
        };
        let lost = if self.dice.happens(40) { self.dice.below(inspected / 4 + 2) } else { 0 };
        let lost = lost.min(inspected);
        let doubtful = self.dice.below(inspected - lost + 1) / 3;
        let cause = *self.dice.pick(&LossCause::ALL[..5]).unwrap_or(&LossCause::Rot);
        let look = *self.dice.pick(Look::ALL).unwrap_or(&Look::Unpacked);
        self.note(Check {
            lot,
            look,
            scope,
            inspected: units(inspected),
            sound: units(inspected - lost - doubtful),
            doubtful: units(doubtful),
            lost: (lost > 0)
                .then_some(LostUnits { cause, count: units(lost) })
                .into_iter()
                .collect(),
            sprouted: None,
        });
        self.lots[at].there -= lost;
    }

    fn lose(&mut self, at: usize) {
        let Believed { lot, there, .. } = self.lots[at];
        let gone = 1 + self.dice.below(there.min(3));
        let cause = *self.dice.pick(&LossCause::ALL[..7]).unwrap_or(&LossCause::Other);
        self.note(Loss { lot, count: units(gone), cause });
        self.lots[at].there -= gone;
    }

    fn recount(&mut self, at: usize) {
        let Believed { lot, there, .. } = self.lots[at];
        let counted = (there + self.dice.below(4)).saturating_sub(self.dice.below(4));
        let missing = (counted < there).then_some(LossCause::Mislaid);
        self.note(Recount { lot, counted: units(counted), missing });
        self.lots[at].there = counted;
    }

    fn send(&mut self, at: usize) {
        let Believed { lot, there, .. } = self.lots[at];
        let gone = 1 + self.dice.below(there);
        self.note(Send {
            lot,
            count: units(gone),
            purpose: Purpose::Swap,
            to: "the farm over the hill".to_owned(),
            to_farm: None,
            hand_over: None,
        });
        self.lots[at].there -= gone;
    }

    fn plant(&mut self, at: usize) {
        let Believed { lot, there, .. } = self.lots[at];
        let planted = 1 + self.dice.below(there);
        self.note(WakeUp { lot });
        self.note(PlantOut { lot, count: units(planted), bed: None });
        let came_up = planted - self.dice.below(planted / 5 + 1);
        self.note(CameUp { lot, planted: units(planted), came_up: units(came_up) });
        self.lots[at].there -= planted;
    }

    fn receive(&mut self, variety: VarietyId) {
        let lot = LotId::new(self.dice.id());
        let there = 1 + self.dice.below(12);
        let unit = UnitKind::Division;
        self.note(Receive {
            lot,
            variety,
            unit,
            count: units(there),
            from: "the club's table".to_owned(),
            from_farm: None,
            from_lot: None,
            hand_over: None,
            coming: None,
            condition: None,
        });
        self.lots.push(Believed { lot, variety, unit, there });
    }

    fn on_order(&mut self, at: usize) {
        let variety = self.lots[at].variety;
        let (coming, count) = (ComingId::new(self.dice.id()), units(1 + self.dice.below(10)));
        self.note(Coming {
            coming,
            variety,
            unit: UnitKind::Division,
            count,
            from: "a friend".to_owned(),
            expected: Some(day(200)),
        });
    }
}
