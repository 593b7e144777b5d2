//! The end of a seed: faults stop, every device syncs until nothing moves, and all is held against
//! what was committed.

use std::collections::{BTreeMap, BTreeSet};

use sha2::{Digest, Sha256};
use spareloop_cli::book::{BookError, entries};
use spareloop_cli::sync::courier::{Courier, Next};
use spareloop_domain::ledger::generate::Dice;
use spareloop_domain::ledger::{Book, Entry, fold};
use spareloop_domain::words::{UnitKind, VarietyId};
use spareloop_store::farm_book;

use crate::device::{LinkState, Syncing};
use crate::post::Weather;
use crate::template::farm_id;
use crate::trace::hex;
use crate::violation::{Held, Invariant, broken};
use crate::witness::Row;
use crate::world::World;

/// Questions after which one sync of a device that hears everything is too long.
const MOST_QUESTIONS: u32 = 400;

impl World {
    /// Stops the faults, lets every device sync until nothing moves, and looks at everything.
    pub fn come_to_rest(&mut self) -> Held<u32> {
        self.faults_stop();
        let rounds = self.quiet_comes()?;
        let ledger = self.house.reader().rows();
        self.all_hold_the_same(&ledger)?;
        let mut parked = BTreeSet::new();
        for device in &mut self.devices {
            parked.extend(device.reader().waiting_ids());
        }
        self.facts.hold_against(&ledger, &parked)?;
        chains_hold(&ledger)?;
        self.books_agree(&ledger)?;
        Ok(rounds)
    }

    fn faults_stop(&mut self) {
        self.wire.arm(None);
        self.post.clear();
        self.weather = Weather::Calm;
        for device in &mut self.devices {
            device.link = LinkState::Up;
            device.programs.truncate(1);
            device.programs[0].sync = None;
        }
    }

    fn quiet_comes(&mut self) -> Held<u32> {
        let most = 3 + 2 * u32::try_from(self.devices.len()).expect("a few devices");
        let mut before = String::new();
        for round in 0..=most {
            for device in 0..self.devices.len() {
                self.sync_whole(device)?;
            }
            let now = self.all_there_is();
            self.trace.say(&now);
            if now == before {
                return Ok(round);
            }
            before = now;
        }
        broken(Invariant::QuietComes, format!("after {most} rounds something still moves"))
    }

    /// One sync of a device that hears everything at once.
    fn sync_whole(&mut self, device: usize) -> Held {
        let since = self.step;
        self.devices[device].programs[0].sync = Some(Syncing { courier: Courier::new(), since });
        let mut heard = None;
        for _ in 0..MOST_QUESTIONS {
            let next = self.next_of((device, 0), heard.take())?;
            self.look_at(device)?;
            match next {
                Some(Next::Ask(ask)) => heard = self.house_hears(device, &ask)?,
                _ => return Ok(()),
            }
        }
        broken(
            Invariant::QuietComes,
            format!("device {device} asks more than {MOST_QUESTIONS} times in one sync"),
        )
    }

    fn all_there_is(&mut self) -> String {
        let mut all = Sha256::default();
        let mut say = |rows: Vec<Row>| {
            for row in rows {
                all.update(row.hash.as_bytes());
            }
        };
        say(self.house.reader().rows());
        for device in &mut self.devices {
            say(device.reader().rows());
        }
        let cursors: Vec<_> =
            self.devices.iter_mut().map(|device| device.reader().cursor()).collect();
        format!("{:?} {cursors:?}", all.finalize())
    }

    fn all_hold_the_same(&mut self, ledger: &[Row]) -> Held {
        for (index, device) in self.devices.iter_mut().enumerate() {
            let here = device.reader().rows();
            if here == *ledger {
                continue;
            }
            let lacks = ledger.iter().find(|row| !here.contains(row));
            let more = here.iter().find(|row| !ledger.contains(row));
            let name = |row: Option<&Row>| {
                row.map_or("nothing".to_owned(), |row| format!("{}/{}", row.device, row.seq))
            };
            return broken(
                Invariant::EntriesEverywhere,
                format!("device {index} lacks {}, the server lacks {}", name(lacks), name(more)),
            );
        }
        Ok(())
    }

    /// Every book, however it came about, is the one that a replay of the ledger makes.
    fn books_agree(&mut self, ledger: &[Row]) -> Held {
        let mut entries: Vec<Entry> = ledger.iter().map(Row::entry).collect();
        shuffle(&mut entries, &mut self.dice);
        let replayed = fold(&entries);
        shuffle(&mut entries, &mut self.dice);
        let differs =
            |who: &str| broken(Invariant::FoldIsReplay, format!("{who} has another book"));
        if fold(&entries) != replayed {
            return differs("another order of arrival");
        }
        let kept = self.house.store().read(|tx| farm_book(tx, farm_id()));
        if *kept.map_err(crate::growers::failed)? != replayed {
            return differs("the server");
        }
        for index in 0..self.devices.len() {
            let file = &mut self.devices[index].programs[0].file;
            let all = file.read(entries::all).map_err(|error: BookError| {
                let what = format!("a book can't be read: {error}");
                crate::violation::Violation { invariant: Invariant::FoldIsReplay, step: 0, what }
            })?;
            if fold(&all) != replayed {
                return differs(&format!("device {index}"));
            }
        }
        units_conserved(&replayed)
    }
}

fn shuffle(entries: &mut [Entry], dice: &mut Dice) {
    for end in (1..entries.len()).rev() {
        let bound = u32::try_from(end + 1).expect("a few hundred");
        entries.swap(end, dice.below(bound) as usize);
    }
}

/// Places 1, 2, 3 ..., each naming the hash before, each hash that of its content.
fn chains_hold(ledger: &[Row]) -> Held {
    let mut before: BTreeMap<&str, (i64, &str)> = BTreeMap::new();
    let start = "0".repeat(64);
    for row in ledger {
        let (seq, prev) = before.get(row.device.as_str()).copied().unwrap_or((0, &start));
        let canonical = row.entry().canonical().expect("an entry has a canonical form");
        let hash = hex(&Sha256::digest(canonical));
        if row.seq != seq + 1 || row.prev != prev || row.hash != hash {
            let what = format!("the chain of {} doesn't hold at {}", row.device, row.seq);
            return broken(Invariant::ChainsHold, what);
        }
        before.insert(&row.device, (row.seq, &row.hash));
    }
    Ok(())
}

/// In + made + found = out + lost + in store, and what lies in the lots is what the flows say.
fn units_conserved(book: &Book) -> Held {
    let mut in_lots: BTreeMap<(VarietyId, UnitKind), i64> = BTreeMap::new();
    for lot in book.lots.values() {
        *in_lots.entry((lot.variety, lot.unit)).or_default() += i64::from(lot.in_store);
    }
    for (key, flow) in &book.flows {
        let there = in_lots.remove(key).unwrap_or(0);
        if !flow.agrees() || flow.in_store != there {
            let what = format!("{key:?}: {flow:?}, in the lots {there}");
            return broken(Invariant::UnitsConserved, what);
        }
    }
    match in_lots.iter().find(|(_, count)| **count != 0) {
        Some(one) => broken(Invariant::UnitsConserved, format!("{one:?} came from nowhere")),
        None => Ok(()),
    }
}
