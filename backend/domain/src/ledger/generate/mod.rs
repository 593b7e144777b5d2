//! Invented ledgers for tests: a seed decides everything.
//!
//! [`seasons`] writes twenty seasons; [`plausible`] writes a winter that a small farm could have
//! had, on several devices; [`wild`] writes entries that contradict one another in every way the fold must bear. Here only for
//! tests of this and other rooms (feature `generate`).

mod plausible;
mod seasons;
mod wild;

pub use plausible::plausible;
pub use seasons::seasons;
pub use wild::wild;

use super::{Body, Clock, Draft, Entry, Hash, Seq};
pub use crate::dice::Dice;
use crate::words::{Count, Day, DeviceId, EntryId, FarmId};

fn units(number: u32) -> Count {
    Count::new(i64::from(number)).unwrap_or_default()
}

/// The day `days` after 1 October 2025.
fn day(days: u32) -> Day {
    let first: Option<Day> = "2025-10-01".parse().ok();
    first.map_or_else(|| unreachable!("a day of the calendar"), |first| first.plus_days(days))
}

#[derive(Debug)]
struct Chain {
    device: DeviceId,
    clock: Clock,
    next: Seq,
    prev: Hash,
    /// How wrong the device's wall clock is, in milliseconds.
    ahead: u64,
}

/// Writes entries into the chains of one farm's devices.
#[derive(Debug)]
pub struct Scribe {
    farm: FarmId,
    chains: Vec<Chain>,
    wall: u64,
    /// What was written, in the order of writing.
    pub written: Vec<Entry>,
}

impl Scribe {
    /// Begins chains for `devices` devices (at least one) whose wall clocks differ.
    pub fn new(dice: &mut Dice, devices: u32) -> Self {
        let farm = FarmId::new(dice.id());
        let chains = (0..devices.max(1))
            .map(|_| Chain {
                device: DeviceId::new(dice.id()),
                clock: Clock::default(),
                next: Seq::FIRST,
                prev: Hash::START,
                ahead: u64::from(dice.below(7_200_000)),
            })
            .collect();
        Self { farm, chains, wall: 1_760_000_000_000, written: Vec::new() }
    }

    /// The devices that write.
    pub fn devices(&self) -> Vec<DeviceId> {
        self.chains.iter().map(|chain| chain.device).collect()
    }

    /// The farm whose ledger it is.
    pub const fn farm(&self) -> FarmId {
        self.farm
    }

    /// Writes one entry on a device of the dice's choice, and returns its id.
    pub fn write(&mut self, dice: &mut Dice, on: Day, body: Body) -> EntryId {
        self.wall += u64::from(dice.below(600_000));
        let id = EntryId::new(dice.id());
        let index = dice.below(u32::try_from(self.chains.len()).unwrap_or(1)) as usize;
        let chain = &mut self.chains[index];
        let at = chain.clock.tick(self.wall + chain.ahead);
        let draft = Draft { id, on, body };
        let sealed = Entry::seal(draft, self.farm, chain.device, chain.next, at, chain.prev);
        if let Ok(entry) = sealed {
            chain.next = chain.next.next();
            chain.prev = entry.hash;
            self.written.push(entry);
        }
        id
    }
}
