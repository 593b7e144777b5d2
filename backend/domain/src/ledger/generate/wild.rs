//! Entries that contradict one another in every way that the fold must bear. Invented.

use serde_json::json;

use super::{Dice, Scribe, day};
use crate::ledger::body::{
    BenchSession, Body, CameUp, Carried, Check, Climate, CloseSeason, Coming, ConfirmSeason,
    Discard, Divide, Dry, Eyes, FieldObservation, Lift, Loss, LostUnits, MadeLot, Move, Opening,
    Plan, PlantOut, PotUp, Reading, Receive, Recount, Scope, Seen, Send, Sensor, Solution, Stop,
    Store, TakeCuttings, ToolsBetweenClumps, VarietyNote, Void, WakeUp, Wash, Weigh, Yield,
};
use crate::ledger::{Entry, Seq};
use crate::words::{
    ComingId, Count, DeviceId, DiscardReason, EntryId, HandOverId, Look, LossCause, LotId, Packing,
    Place, Purpose, Season, SessionId, UnitKind, VarietyId,
};

/// A few things that all entries speak of, so that they get in one another's way.
#[derive(Debug)]
struct Pool {
    dice: Dice,
    lots: Vec<LotId>,
    varieties: Vec<VarietyId>,
    sessions: Vec<SessionId>,
    coming: Vec<ComingId>,
    entries: Vec<EntryId>,
    devices: Vec<DeviceId>,
}

/// `entries` entries over up to three devices that agree with nothing, for tests of what must hold
/// whatever is written. The same seed gives the same ledger.
pub fn wild(seed: u64, entries: usize) -> Vec<Entry> {
    let mut dice = Dice::new(seed);
    let devices = 1 + dice.below(3);
    let mut scribe = Scribe::new(&mut dice, devices);
    let lots = (0..7).map(|_| LotId::new(dice.id())).collect();
    let varieties = (0..3).map(|_| VarietyId::new(dice.id())).collect();
    let sessions = (0..2).map(|_| SessionId::new(dice.id())).collect();
    let coming = (0..2).map(|_| ComingId::new(dice.id())).collect();
    let devices = scribe.devices();
    let mut pool = Pool { dice, lots, varieties, sessions, coming, entries: Vec::new(), devices };
    for _ in 0..entries {
        let body = pool.body();
        let on = day(pool.dice.below(60));
        let id = scribe.write(&mut pool.dice, on, body);
        pool.entries.push(id);
    }
    scribe.written
}

/// One of a list that is never empty.
fn one<T: Copy>(dice: &mut Dice, of: &[T]) -> T {
    let index = dice.below(u32::try_from(of.len()).unwrap_or(1)) as usize;
    of[index]
}

impl Pool {
    fn lot(&mut self) -> LotId {
        one(&mut self.dice, &self.lots)
    }

    fn variety(&mut self) -> VarietyId {
        one(&mut self.dice, &self.varieties)
    }

    fn unit(&mut self) -> UnitKind {
        // Clumps and divisions more often than the rest.
        let kinds = [UnitKind::Clump, UnitKind::Division, UnitKind::Division, UnitKind::PotTuber];
        one(&mut self.dice, &kinds)
    }

    fn count(&mut self) -> Count {
        if self.dice.happens(2) { super::units(Count::MAX) } else { self.dice.count(14) }
    }

    fn entry(&mut self) -> EntryId {
        match self.dice.pick(&self.entries) {
            Some(entry) => *entry,
            None => EntryId::new(self.dice.id()),
        }
    }

    fn place(&mut self) -> Place {
        let text = format!("barn / crate {}", self.dice.below(4));
        text.parse().unwrap_or_else(|_| unreachable!("two short parts"))
    }

    fn body(&mut self) -> Body {
        match self.dice.below(36) {
            0..=3 => self.beginning(),
            4..=8 => self.divide().into(),
            9..=15 => self.check().into(),
            16..=17 => self.loss().into(),
            18..=19 => {
                let missing = one(&mut self.dice, &[None, Some(LossCause::Rot)]);
                Recount { lot: self.lot(), counted: self.count(), missing }.into()
            }
            20 => PotUp {
                from: self.lot(),
                taken: self.count(),
                lot: self.lot(),
                unit: self.unit(),
                made: self.count(),
            }
            .into(),
            21 => TakeCuttings { mother: self.lot(), lot: self.lot(), made: self.count() }.into(),
            22 => PlantOut { lot: self.lot(), count: self.count(), bed: None }.into(),
            23 => self.send().into(),
            24 => Void { entry: self.entry(), why: None }.into(),
            25..=29 => self.word().into_body(self),
            30 => {
                let body = json!({"v": 1, "depth_cm": 12});
                Body::Newer { kind: "snow-day".to_owned(), body }
            }
            31 => Body::Newer { kind: "check".to_owned(), body: json!({"v": 9, "lot": 3}) },
            32 => self.close().into(),
            33 => ConfirmSeason { season: self.season(), closing: self.entry(), seen: self.seen() }
                .into(),
            _ => self.note().into(),
        }
    }

    fn season(&mut self) -> Season {
        let year = 2024 + self.dice.below(4);
        u16::try_from(year)
            .ok()
            .and_then(|year| year.try_into().ok())
            .unwrap_or_else(|| unreachable!("a year of this century"))
    }

    fn seen(&mut self) -> Vec<Seen> {
        let known = self.devices.clone();
        let mut seen = Vec::new();
        for device in known {
            if let Some(upto) = Seq::new(u64::from(self.dice.below(80))) {
                seen.push(Seen { device, upto });
            }
        }
        seen
    }

    fn close(&mut self) -> CloseSeason {
        let carried = (0..self.dice.below(4))
            .map(|_| Carried { lot: self.lot(), count: self.count() })
            .collect();
        CloseSeason { season: self.season(), carried, seen: self.seen() }
    }

    fn beginning(&mut self) -> Body {
        let (lot, variety, count) = (self.lot(), self.variety(), self.count());
        let planted = self.dice.happens(30).then(|| self.lot());
        match self.dice.below(3) {
            0 => {
                Lift { lot, variety, clumps: count, bed: None, label: self.label(), planted }.into()
            }
            1 => Opening {
                lot,
                variety,
                unit: self.unit(),
                count,
                origin: None,
                label: self.label(),
            }
            .into(),
            _ => Receive {
                lot,
                variety,
                unit: self.unit(),
                count,
                from: "a neighbour".to_owned(),
                from_farm: None,
                from_lot: None,
                hand_over: self.dice.happens(50).then(|| HandOverId::new(self.dice.id())),
                coming: self.dice.pick(&self.coming).copied(),
                condition: None,
            }
            .into(),
        }
    }

    fn label(&mut self) -> Option<String> {
        self.dice.happens(30).then(|| "T7".to_owned())
    }

    fn divide(&mut self) -> Divide {
        let made = (0..self.dice.below(4))
            .map(|_| MadeLot {
                lot: self.lot(),
                unit: self.unit(),
                count: self.count(),
                eyes: Eyes::NotNoted,
                label: self.label(),
            })
            .collect();
        let discards = (0..self.dice.below(3))
            .map(|_| Discard {
                reason: one(&mut self.dice, DiscardReason::ALL),
                count: self.count(),
            })
            .collect();
        let pieces = self.dice.happens(50).then(|| self.count());
        let session = self.dice.pick(&self.sessions).copied();
        Divide { from: self.lot(), taken: self.count(), made, discards, pieces, session }
    }

    fn check(&mut self) -> Check {
        let lost = (0..self.dice.below(3))
            .map(|_| LostUnits { cause: one(&mut self.dice, LossCause::ALL), count: self.count() })
            .collect();
        Check {
            lot: self.lot(),
            look: one(&mut self.dice, Look::ALL),
            scope: one(&mut self.dice, &[Scope::Whole, Scope::Sample]),
            inspected: self.count(),
            sound: self.count(),
            doubtful: self.count(),
            lost,
            sprouted: None,
        }
    }

    fn loss(&mut self) -> Loss {
        let cause = one(&mut self.dice, LossCause::ALL);
        Loss { lot: self.lot(), count: self.count(), cause }
    }

    fn send(&mut self) -> Send {
        Send {
            lot: self.lot(),
            count: self.count(),
            purpose: one(&mut self.dice, Purpose::ALL),
            to: "a neighbour".to_owned(),
            to_farm: None,
            hand_over: self.dice.happens(50).then(|| HandOverId::new(self.dice.id())),
        }
    }

    fn solution(&mut self) -> Solution {
        let made_up = one(&mut self.dice, &[None, Some("13:30"), Some("after lunch")]);
        Solution {
            agent: "household bleach".to_owned(),
            strength_percent: self.dice.happens(50).then_some(0.5),
            minutes: self.dice.happens(50).then_some(10.0),
            made_up: made_up.map(ToOwned::to_owned),
            label_percent: self.dice.happens(50).then_some(0.6),
        }
    }

    fn note(&mut self) -> VarietyNote {
        let variety = self.variety();
        let name = self.dice.happens(60).then(|| format!("Invented {}", self.dice.below(9)));
        let name = name.and_then(|name| name.parse().ok());
        VarietyNote { name, text: Some("keeps well".to_owned()), ..VarietyNote::about(variety) }
    }

    fn word(&mut self) -> Word {
        one(&mut self.dice, &Word::ALL)
    }
}

/// Kinds that change no count.
#[derive(Debug, Clone, Copy)]
enum Word {
    Wash,
    Dry,
    Climate,
    Weigh,
    Session,
    Store,
    Move,
    Stop,
    WakeUp,
    CameUp,
    Yield,
    Field,
    Coming,
    Plan,
}

impl Word {
    const ALL: [Self; 14] = [
        Self::Wash,
        Self::Dry,
        Self::Climate,
        Self::Weigh,
        Self::Session,
        Self::Store,
        Self::Move,
        Self::Stop,
        Self::WakeUp,
        Self::CameUp,
        Self::Yield,
        Self::Field,
        Self::Coming,
        Self::Plan,
    ];

    fn into_body(self, pool: &mut Pool) -> Body {
        let (lot, variety, unit) = (pool.lot(), pool.variety(), pool.unit());
        match self {
            Self::Wash => Wash { lots: vec![lot, pool.lot()] }.into(),
            Self::Dry => Dry { lots: vec![lot], days: None }.into(),
            Self::Climate => Climate {
                place: pool.place(),
                sensor: one(&mut pool.dice, &[Sensor::Room, Sensor::InsideTote]),
                readings: vec![Reading {
                    millis: u64::from(pool.dice.below(Count::MAX)) * 3_600_000,
                    temperature_c: f64::from(pool.dice.below(20)),
                    relative_humidity: pool.dice.happens(50).then_some(0.85),
                }],
                utc_offset_minutes: pool.dice.happens(50).then_some(-300),
            }
            .into(),
            Self::Weigh => {
                let sample = pool.dice.happens(50).then(|| "bag 1".to_owned());
                Weigh { lot, sample, grams: 500.0 + f64::from(pool.dice.below(400)) }.into()
            }
            Self::Session => BenchSession {
                session: one(&mut pool.dice, &pool.sessions),
                lots: vec![lot],
                tools: ToolsBetweenClumps::NotNoted,
                tool_dip: pool.dice.happens(50).then(|| pool.solution()),
                soak: None,
                tool_sets: pool.dice.happens(50).then_some(2),
                until: pool.dice.happens(50).then(|| "15:30".to_owned()),
            }
            .into(),
            Self::Store => {
                let packing = one(&mut pool.dice, Packing::ALL);
                Store { lot, packing, place: pool.place() }.into()
            }
            Self::Move => Move { lot, place: pool.place() }.into(),
            Self::Stop => Stop { lot, session: None, signs: "a lump".to_owned() }.into(),
            Self::WakeUp => WakeUp { lot }.into(),
            Self::CameUp => CameUp { lot, planted: pool.count(), came_up: pool.count() }.into(),
            Self::Yield => Yield { variety, clumps: pool.count(), divisions: pool.count() }.into(),
            Self::Field => {
                let lot = pool.dice.happens(50).then_some(lot);
                FieldObservation { lot, variety, text: "tall".to_owned() }.into()
            }
            Self::Coming => Coming {
                coming: one(&mut pool.dice, &pool.coming),
                variety,
                unit,
                count: pool.count(),
                from: "a friend".to_owned(),
                expected: None,
            }
            .into(),
            Self::Plan => Plan {
                variety,
                unit,
                plants_wanted: pool.count(),
                planting: day(220),
                keep_back: None,
                service_level: None,
            }
            .into(),
        }
    }
}
