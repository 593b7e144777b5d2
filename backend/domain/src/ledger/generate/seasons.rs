//! Twenty seasons of one farm, for the question whether its ledger stays quick. Invented.
//!
//! A season: clumps lifted and divided in October, stored, looked at every week or so, a few
//! lost, moved, recounted, sent; in April what is left is woken and planted out, so that its lots
//! are over. One entry in twenty is noted a few days late, a few are struck out.

use super::{Dice, units};
use crate::ledger::body::{
    BenchSession, Body, CameUp, Check, Divide, Eyes, Lift, Loss, LostUnits, MadeLot, Move, Plan,
    PlantOut, Scope, Send, Store, ToolsBetweenClumps, VarietyNote, Void, WakeUp,
};
use crate::ledger::{Clock, Draft, Entry, Hash, Seq};
use crate::words::{
    Day, DeviceId, EntryId, FarmId, Look, LossCause, LotId, Packing, Purpose, SessionId, UnitKind,
    VarietyId,
};

const SEASONS: u32 = 20;
const VARIETIES: u32 = 120;
/// Rounds of looking through the store in a winter.
const ROUNDS: u32 = 26;
/// Entries that a lot of divisions and its share of the clumps bring, measured.
const OF_A_LOT: usize = 30;
const DAY_MILLIS: u64 = 24 * 60 * 60 * 1000;

/// Where a generated farm's first season begins.
fn first_day() -> Day {
    "2006-10-01".parse().unwrap_or_else(|_| unreachable!("a day of the calendar"))
}

struct Chain {
    device: DeviceId,
    clock: Clock,
    end: Option<(Seq, Hash)>,
}

struct Author {
    dice: Dice,
    farm: FarmId,
    chains: Vec<Chain>,
    written: Vec<Entry>,
    /// Days since the first.
    today: u32,
    varieties: Vec<VarietyId>,
    clumps: Option<(VarietyId, LotId)>,
}

struct Held {
    lot: LotId,
    there: u32,
}

/// About `entries` entries of twenty seasons, at least one device, in the order of writing. The
/// same seed gives the same ledger.
pub fn seasons(seed: u64, farm: FarmId, devices: &[DeviceId], entries: usize) -> Vec<Entry> {
    let chains = devices
        .iter()
        .map(|device| Chain { device: *device, clock: Clock::default(), end: None })
        .collect();
    let mut author = Author {
        dice: Dice::new(seed),
        farm,
        chains,
        written: Vec::with_capacity(entries + entries / 10),
        today: 0,
        varieties: Vec::new(),
        clumps: None,
    };
    author.name_varieties();
    let lots = u32::try_from(entries / SEASONS as usize / OF_A_LOT).unwrap_or(u32::MAX).max(1);
    for season in 0..SEASONS {
        author.today = season * 365;
        author.season(lots);
    }
    author.written
}

impl Author {
    fn day(&self, late: u32) -> Day {
        first_day().plus_days(self.today.saturating_sub(late))
    }

    fn note(&mut self, body: impl Into<Body>) {
        let late = if self.dice.happens(5) { self.dice.below(4) } else { 0 };
        self.write(self.day(late), body.into());
    }

    fn note_on_wrong_lot(&mut self, body: impl Into<Body>) {
        let entry = self.write(self.day(0), body.into());
        self.note(Void { entry, why: Some("noted on the wrong lot".to_owned()) });
    }

    fn write(&mut self, on: Day, body: Body) -> EntryId {
        let id = EntryId::new(self.dice.id());
        let index = self.dice.below(u32::try_from(self.chains.len()).unwrap_or(1)) as usize;
        let chain = &mut self.chains[index];
        let morning = u64::try_from(first_day().days_since(epoch())).unwrap_or(0);
        let at = chain.clock.tick((morning + u64::from(self.today)) * DAY_MILLIS);
        let (seq, prev) =
            chain.end.map_or((Seq::FIRST, Hash::START), |(seq, hash)| (seq.next(), hash));
        let sealed = Entry::seal(Draft { id, on, body }, self.farm, chain.device, seq, at, prev);
        if let Ok(entry) = sealed {
            chain.end = Some((entry.seq, entry.hash));
            self.written.push(entry);
        }
        id
    }

    fn name_varieties(&mut self) {
        for number in 0..VARIETIES {
            let variety = VarietyId::new(self.dice.id());
            self.varieties.push(variety);
            if let Ok(name) = format!("Invented {number}").parse() {
                self.note(VarietyNote::naming(variety, name));
            }
        }
    }

    fn season(&mut self, lots: u32) {
        let begin = self.today;
        let mut held = Vec::new();
        for number in 0..lots {
            self.today = begin + 40 * number / lots;
            held.extend(self.autumn(number));
        }
        for round in 0..ROUNDS {
            for index in 0..held.len() {
                let spread = u32::try_from(6 * index / held.len()).unwrap_or(0);
                self.today = begin + 45 + 6 * round + spread;
                self.winter(&mut held[index]);
            }
        }
        for index in 0..held.len() {
            self.today = begin + 210 + u32::try_from(30 * index / held.len()).unwrap_or(0);
            self.spring(&held[index]);
        }
    }

    fn autumn(&mut self, number: u32) -> Option<Held> {
        let (lifted, lot) = (1 + self.dice.below(5), LotId::new(self.dice.id()));
        // One lot of clumps is divided into three.
        if number.is_multiple_of(3) || self.clumps.is_none() {
            let variety = self.dice.pick(&self.varieties).copied()?;
            let clumps = LotId::new(self.dice.id());
            self.note(Lift {
                lot: clumps,
                variety,
                clumps: units(15),
                bed: None,
                label: None,
                planted: None,
            });
            self.clumps = Some((variety, clumps));
        }
        let (variety, clumps) = self.clumps?;
        let there = lifted * (3 + self.dice.below(5));
        let session = number.is_multiple_of(12).then(|| SessionId::new(self.dice.id()));
        if let Some(session) = session {
            let tools = ToolsBetweenClumps::Disinfected;
            self.note(BenchSession {
                session,
                lots: vec![clumps],
                tools,
                tool_dip: None,
                soak: None,
                tool_sets: None,
                until: None,
            });
        }
        let unit = UnitKind::Division;
        let made = vec![MadeLot { lot, unit, count: units(there), eyes: Eyes::Eyed, label: None }];
        let (taken, discards, pieces) = (units(lifted), Vec::new(), None);
        self.note(Divide { from: clumps, taken, made, discards, pieces, session });
        let place = format!("cellar / shelf {} / tote {}", number % 9, number % 31).parse().ok()?;
        self.note(Store { lot, packing: Packing::Vermiculite, place });
        if self.dice.happens(30) {
            let (plants_wanted, planting) = (units(there / 2), self.day(0).plus_days(200));
            let (keep_back, service_level) = (None, None);
            self.note(Plan { variety, unit, plants_wanted, planting, keep_back, service_level });
        }
        Some(Held { lot, there })
    }

    fn winter(&mut self, held: &mut Held) {
        let (lot, there) = (held.lot, held.there);
        if there == 0 {
            return;
        }
        match self.dice.below(20) {
            0 => self.move_lot(lot),
            1 => {
                if self.dice.happens(50) {
                    self.note(Loss { lot, count: units(1), cause: LossCause::Rot });
                } else {
                    let (to, purpose) = ("the farm over the hill".to_owned(), Purpose::Gift);
                    let (to_farm, hand_over) = (None, None);
                    self.note(Send { lot, count: units(1), purpose, to, to_farm, hand_over });
                }
                held.there -= 1;
            }
            _ => held.there -= self.look(lot, there),
        }
    }

    /// Looks through a lot, and answers how many were lost.
    fn look(&mut self, lot: LotId, there: u32) -> u32 {
        let lost = if self.dice.happens(25) { self.dice.below(there.min(3) + 1) } else { 0 };
        let cause = *self.dice.pick(&LossCause::ALL[..4]).unwrap_or(&LossCause::Rot);
        let look = if self.dice.happens(40) { Look::ThroughWrap } else { Look::Unpacked };
        let parts = LostUnits { cause, count: units(lost) };
        self.note(Check {
            lot,
            look,
            scope: Scope::Whole,
            inspected: units(there),
            sound: units(there - lost),
            doubtful: units(0),
            lost: (lost > 0).then_some(parts).into_iter().collect(),
            sprouted: None,
        });
        lost
    }

    fn move_lot(&mut self, lot: LotId) {
        let Ok(place) = format!("cellar / shelf {}", self.dice.below(9)).parse() else { return };
        if self.dice.happens(30) {
            self.note_on_wrong_lot(Move { lot, place });
        } else {
            self.note(Move { lot, place });
        }
    }

    fn spring(&mut self, held: &Held) {
        let (lot, planted) = (held.lot, units(held.there));
        if held.there == 0 {
            return;
        }
        self.note(WakeUp { lot });
        self.note(PlantOut { lot, count: planted, bed: None });
        let came_up = units(held.there - self.dice.below(held.there / 5 + 1));
        self.note(CameUp { lot, planted, came_up });
    }
}

fn epoch() -> Day {
    "1970-01-01".parse().unwrap_or_else(|_| unreachable!("a day of the calendar"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ledger::fold;

    #[test]
    fn twenty_seasons_are_as_long_as_asked_and_mostly_in_order() {
        let mut dice = Dice::new(1);
        let (farm, devices) = (FarmId::new(dice.id()), [DeviceId::new(dice.id())]);
        let entries = seasons(1, farm, &devices, 4000);
        assert!((3300..4600).contains(&entries.len()), "{}", entries.len());
        let book = fold(&entries);
        assert!(book.lots.len() > 100);
        assert!(book.problems.len() < entries.len() / 50, "{}", book.problems.len());
    }
}
