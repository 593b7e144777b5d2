//! What is looked at after every step: cursors, acknowledgements, the server's feed, refusals.

use std::collections::{BTreeSet, HashSet};

use spareloop_api::problem::ProblemCode;
use spareloop_api::sync::Pushed;
use spareloop_cli::sync::courier::{Ask, Heard};
use spareloop_domain::ledger::{Draft, Entry};

use crate::reach::Reach;
use crate::violation::{Held, Invariant, broken};
use crate::witness::{Feed, Row};
use crate::world::World;

/// A day, in milliseconds.
const DAY: u64 = 24 * 60 * 60 * 1000;

impl World {
    /// Everything up to a device's cursor is in its book: what is told to be durable is.
    pub fn look_at(&mut self, device: usize) -> Held {
        let it = &mut self.devices[device];
        let id = it.reader().device();
        if id != it.id {
            self.reached.note(Reach::NewId);
            it.id = id;
        }
        it.take_note_of_own_stamps();
        self.facts.copied(it.reader().noted_again_ids());
        let (epoch, cursor) = it.reader().cursor();
        if cursor == 0 {
            return Ok(());
        }
        let epoch = epoch.unwrap_or_default();
        let Some(feed) = self.house.lives.of(&epoch).filter(|feed| feed.places.len() >= cursor)
        else {
            let what =
                format!("device {device} has read up to {cursor} of {epoch:?}, which never was");
            return broken(Invariant::NeverAhead, what);
        };
        let there: HashSet<_> = it
            .reader()
            .places()
            .into_iter()
            .map(|place| (place.device, place.seq, place.hash))
            .collect();
        let missing = feed.places[..cursor].iter().position(|place| {
            !there.contains(&(place.device.clone(), place.seq, place.hash.clone()))
        });
        match missing {
            None => Ok(()),
            Some(at) => broken(
                Invariant::NeverAhead,
                format!("device {device} has read up to {cursor} and lacks position {}", at + 1),
            ),
        }
    }

    /// What the server said holds of its file, and what it had to refuse it refused.
    pub fn look_at_house(&mut self, ask: &Ask, answer: Option<&Heard>) -> Held {
        let conflicts = match ask {
            Ask::Push(entries) => conflicts(self.house.lives.now(), entries),
            _ => BTreeSet::new(),
        };
        self.catch_up()?;
        match (ask, answer) {
            (Ask::Push(entries), Some(Heard::Pushed(pushed))) => {
                self.count_refusals(pushed);
                let refused: BTreeSet<String> =
                    pushed.refused.iter().map(|no| no.device.to_string()).collect();
                if let Some(device) = conflicts.difference(&refused).next() {
                    let what = format!("a fork of {device} was brought and not reported");
                    return broken(Invariant::ForksReported, what);
                }
                acknowledged(self.house.lives.now(), entries, &refused, pushed)
            }
            (Ask::Pull { .. }, Some(Heard::Page(page))) => {
                if page.more {
                    self.reached.note(Reach::PageBorder);
                }
                Ok(())
            }
            _ => Ok(()),
        }
    }

    /// Takes note of what the server's file newly holds.
    pub fn catch_up(&mut self) -> Held<Vec<Row>> {
        let house = &mut self.house;
        let reader = house.reader.as_mut().expect("the file is open");
        let new = house.lives.catch_up(reader, self.now)?;
        for row in &new {
            if row.at_millis.unsigned_abs() > self.now + DAY {
                self.reached.note(Reach::FarAhead);
            }
            self.trace.say(format!("{} the server holds {}", self.step, row.hash));
        }
        Ok(new)
    }

    /// What the server wrote itself is committed too.
    pub fn look_at_house_notes(&mut self, drafts: &[Draft]) -> Held {
        let new = self.catch_up()?;
        for (row, draft) in new.iter().zip(drafts) {
            self.facts.written_by_house(draft, row);
            let reader = self.house.reader.as_mut().expect("the file is open");
            let own_newest = self.house.own_newest;
            crate::clocks::hold(reader, &self.house.lives, row, own_newest, self.now)?;
            self.house.own_newest = row.at();
        }
        Ok(())
    }

    fn count_refusals(&mut self, pushed: &Pushed) {
        for refused in &pushed.refused {
            self.reached.note(match refused.code {
                ProblemCode::Fork => Reach::ForkRefused,
                ProblemCode::Gap | ProblemCode::BrokenChain => Reach::ChainRefused,
                _ => Reach::EntryRefused,
            });
        }
    }
}

/// Devices of whose entries one would stand at a place that another one has.
fn conflicts(feed: &Feed, entries: &[Entry]) -> BTreeSet<String> {
    entries.iter().filter(|entry| there(feed, entry).is_some_and(|is| !is)).map(device).collect()
}

fn device(entry: &Entry) -> String {
    entry.device.to_string()
}

/// Whether the feed holds the entry, or another at its place.
fn there(feed: &Feed, entry: &Entry) -> Option<bool> {
    let seq = i64::try_from(entry.seq.get()).expect("a small number");
    feed.at.get(&(device(entry), seq)).map(|hash| *hash == entry.hash.to_string())
}

fn acknowledged(
    feed: &Feed,
    entries: &[Entry],
    refused: &BTreeSet<String>,
    pushed: &Pushed,
) -> Held {
    let taken = entries.iter().filter(|entry| !refused.contains(&device(entry)));
    for entry in taken {
        if there(feed, entry) != Some(true) {
            let what = format!("{}/{} was answered for and is not there", entry.device, entry.seq);
            return broken(Invariant::NeverAhead, what);
        }
    }
    for head in &pushed.heads {
        let seq = i64::try_from(head.seq.get()).expect("a small number");
        if feed.at.get(&(head.device.to_string(), seq)) != Some(&head.hash.to_string()) {
            let what = format!("the head {}/{} was told and is not there", head.device, head.seq);
            return broken(Invariant::NeverAhead, what);
        }
    }
    Ok(())
}
