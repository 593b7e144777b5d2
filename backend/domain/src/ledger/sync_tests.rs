//! Syncs of invented ledgers: what is sent, what is refused, and that both sides end equal.
#![allow(clippy::unwrap_used)]

use std::collections::BTreeMap;

use proptest::prelude::*;

use super::*;
use crate::ledger::Stamp;
use crate::ledger::generate::{Dice, plausible};

/// One side's entries, by device and place.
#[derive(Debug, Clone, Default)]
struct Side {
    kept: BTreeMap<(DeviceId, Seq), Entry>,
    feed: Vec<Entry>,
}

impl Side {
    fn heads(&self) -> Heads {
        let mut heads = Heads::new();
        for entry in self.kept.values() {
            heads.insert(entry.device, Head { seq: entry.seq, hash: entry.hash });
        }
        heads
    }

    fn hash(&self, device: DeviceId, seq: Seq) -> Option<Hash> {
        self.kept.get(&(device, seq)).map(|entry| entry.hash)
    }

    fn bring(&mut self, entry: &Entry) -> Acceptance {
        let head = self.heads().get(&entry.device).copied();
        let answer = accept(entry.farm, head, |device, seq| self.hash(device, seq), entry);
        if answer == Acceptance::Append {
            self.kept.insert((entry.device, entry.seq), entry.clone());
            self.feed.push(entry.clone());
        }
        answer
    }

    fn theirs(&self, farm: FarmId, epoch: &str) -> Theirs {
        Theirs {
            farm,
            epoch: Epoch(epoch.to_owned()),
            newest: Position(self.feed.len() as u64),
            heads: self.heads(),
        }
    }

    fn mine(&self, farm: FarmId, epoch: Option<&str>, fetched: u64) -> Mine {
        Mine {
            farm,
            epoch: epoch.map(|epoch| Epoch(epoch.to_owned())),
            fetched: Position(fetched),
            heads: self.heads(),
        }
    }

    fn range(&self, range: Range) -> Vec<Entry> {
        let (first, last) = ((range.device, range.first), (range.device, range.last));
        self.kept.range(first..=last).map(|(_, entry)| entry.clone()).collect()
    }
}

fn side(entries: &[Entry]) -> Side {
    let mut side = Side::default();
    for entry in entries {
        side.bring(entry);
    }
    side
}

fn ledger() -> Vec<Entry> {
    // A seed whose winter has several devices.
    (0..100).map(|seed| plausible(seed, 40)).find(|l| side(l).heads().len() == 3).unwrap()
}

#[test]
fn the_first_sync_sends_everything_and_fetches_nothing() {
    let entries = ledger();
    let (mine, server) = (side(&entries), Side::default());
    let farm = entries[0].farm;
    let plan = plan(&mine.mine(farm, None, 0), &server.theirs(farm, "a"), |d, s| mine.hash(d, s));
    let plan = plan.unwrap();
    assert_eq!(plan.to_send.len(), 3);
    assert_eq!(plan.fetch_after, None);
    assert_eq!(plan.server, ServerLife::FirstMet);
}

#[test]
fn the_wrong_farm_receives_nothing() {
    let entries = ledger();
    let mine = side(&entries);
    let farm = entries[0].farm;
    let other = plausible(99, 5)[0].farm;
    let server = Side::default().theirs(other, "a");
    assert_eq!(
        plan(&mine.mine(farm, None, 0), &server, |d, s| mine.hash(d, s)),
        Err(PlanError::WrongFarm { mine: farm, theirs: other })
    );
}

#[test]
fn a_server_put_back_from_an_old_copy_is_sent_what_it_lacks() {
    let entries = ledger();
    let farm = entries[0].farm;
    let (mine, old) = (side(&entries), side(&entries[..20]));
    let held = mine.mine(farm, Some("a"), entries.len() as u64);
    for epoch in ["a", "b"] {
        let plan = plan(&held, &old.theirs(farm, epoch), |d, s| mine.hash(d, s)).unwrap();
        assert_eq!(plan.server, ServerLife::Restored);
        assert_eq!(plan.fetch_after, Some(Position(0)));
        let mut server = old.clone();
        for entry in plan.to_send.iter().flat_map(|range| mine.range(*range)) {
            assert_eq!(server.bring(&entry), Acceptance::Append);
        }
        assert_eq!(server.kept, mine.kept);
    }
}

/// The same entry of the chain with another content, sealed anew.
fn other_content(entry: &Entry) -> Entry {
    let mut other = entry.clone();
    other.at = Stamp { millis: entry.at.millis + 1, ..entry.at };
    other.hash = other.computed_hash().unwrap();
    other
}

#[test]
fn a_device_put_back_from_an_old_copy_forks_and_is_told_so_by_name() {
    let entries = ledger();
    let farm = entries[0].farm;
    let server = side(&entries);
    let last = entries.last().unwrap();
    let mut mine = side(&entries[..entries.len() - 1]);
    let other = other_content(last);
    assert_eq!(mine.bring(&other), Acceptance::Append);
    let held = mine.mine(farm, Some("a"), 0);
    let plan = plan(&held, &server.theirs(farm, "a"), |d, s| mine.hash(d, s)).unwrap();
    assert_eq!(plan.forked, [last.device]);
    assert!(plan.to_send.is_empty());
    assert_eq!(side(&entries).bring(&other), Acceptance::Fork);
}

#[test]
fn a_device_that_lost_its_end_learns_that_it_is_behind() {
    let entries = ledger();
    let farm = entries[0].farm;
    let (server, mine) = (side(&entries), side(&entries[..entries.len() - 1]));
    let held = mine.mine(farm, Some("a"), 0);
    let plan = plan(&held, &server.theirs(farm, "a"), |d, s| mine.hash(d, s)).unwrap();
    assert_eq!(plan.behind, [entries.last().unwrap().device]);
    assert!(plan.forked.is_empty());
}

#[test]
fn a_gap_a_changed_body_and_a_broken_chain_are_each_refused_by_name() {
    let entries = ledger();
    let device = entries[0].device;
    let chain: Vec<&Entry> = entries.iter().filter(|entry| entry.device == device).collect();
    let mut server = Side::default();
    assert_eq!(server.bring(chain[1]), Acceptance::Gap { expected: Seq::FIRST });
    let mut changed = chain[0].clone();
    changed.on = changed.on.plus_days(1);
    assert_eq!(server.bring(&changed), Acceptance::Tampered);
    assert_eq!(server.bring(chain[0]), Acceptance::Append);
    assert_eq!(server.bring(chain[0]), Acceptance::AlreadyHere);
    let mut broken = chain[1].clone();
    broken.prev = Hash::START;
    broken.hash = broken.computed_hash().unwrap();
    assert_eq!(server.bring(&broken), Acceptance::BrokenChain);
    let mut foreign = chain[1].clone();
    foreign.farm = plausible(99, 5)[0].farm;
    foreign.hash = foreign.computed_hash().unwrap();
    let head = server.heads()[&device];
    assert_eq!(accept(chain[0].farm, Some(head), |_, _| None, &foreign), Acceptance::WrongFarm);
}

#[test]
fn nothing_new_on_either_side_means_nothing_to_do() {
    let entries = ledger();
    let farm = entries[0].farm;
    let mine = side(&entries);
    let held = mine.mine(farm, Some("a"), entries.len() as u64);
    let plan = plan(&held, &mine.theirs(farm, "a"), |d, s| mine.hash(d, s)).unwrap();
    assert!(plan.to_send.is_empty() && plan.fetch_after.is_none() && plan.behind.is_empty());
}

/// Some prefix of every chain, as a device or server might hold.
fn part(entries: &[Entry], dice: &mut Dice) -> Side {
    let mut ends: BTreeMap<DeviceId, u64> = BTreeMap::new();
    for entry in entries {
        ends.insert(entry.device, entry.seq.get());
    }
    for end in ends.values_mut() {
        *end = u64::from(dice.below(u32::try_from(*end).unwrap() + 1));
    }
    let kept: Vec<Entry> =
        entries.iter().filter(|entry| entry.seq.get() <= ends[&entry.device]).cloned().collect();
    side(&kept)
}

proptest! {
    #[test]
    fn one_sync_makes_both_sides_equal(seed in any::<u64>(), entries in 1_usize..60) {
        let entries = plausible(seed, entries);
        let farm = entries[0].farm;
        let mut dice = Dice::new(seed);
        let (mut mine, mut server) = (part(&entries, &mut dice), part(&entries, &mut dice));
        let held = mine.mine(farm, None, 0);
        let todo = plan(&held, &server.theirs(farm, "a"), |d, s| mine.hash(d, s)).unwrap();
        prop_assert!(todo.forked.is_empty());
        let fetched = todo.fetch_after.map_or(0, |after| usize::try_from(after.0).unwrap());
        let feed = server.feed[fetched..].to_vec();
        for entry in todo.to_send.iter().flat_map(|range| mine.range(*range)) {
            prop_assert_eq!(server.bring(&entry), Acceptance::Append, "nothing is sent twice");
        }
        for entry in &feed {
            let answer = mine.bring(entry);
            prop_assert!(matches!(answer, Acceptance::Append | Acceptance::AlreadyHere));
        }
        prop_assert_eq!(&mine.kept, &server.kept);
    }

    #[test]
    fn batches_cover_everything_in_order(
        sizes in prop::collection::vec(0_usize..400, 0..80), most in 1_usize..20, bytes in 0_usize..900,
    ) {
        let limits = BatchLimits { entries: most, bytes };
        let mut left = &sizes[..];
        while !left.is_empty() {
            let next = limits.fit(left.iter().copied());
            prop_assert!(next >= 1 && next <= most);
            let sum: usize = left[..next].iter().sum();
            prop_assert!(next == 1 || sum <= bytes);
            left = &left[next..];
        }
    }
}
