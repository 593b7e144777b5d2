//! Going on from a snapshot is the same as folding from nothing, whatever came and went meanwhile.
#![allow(clippy::unwrap_used)]

use std::collections::BTreeMap;
use std::convert::Infallible;

use proptest::prelude::*;

use super::*;
use crate::ledger::body::{Scope, Void};
use crate::ledger::example::{Farm, day, look, n};
use crate::ledger::generate::{Dice, plausible, wild};
use crate::ledger::{Draft, fold, fold_until};
use crate::words::{LossCause, UnitKind};

/// A ledger in memory.
struct Shelf(Vec<Entry>);

impl Kept for Shelf {
    type Error = Infallible;

    fn hash_at(&mut self, device: DeviceId, seq: Seq) -> Result<Option<Hash>, Infallible> {
        let mut places = self.0.iter();
        Ok(places.find(|entry| (entry.device, entry.seq) == (device, seq)).map(|entry| entry.hash))
    }

    fn has_late(&mut self, heads: &Heads, until: Day) -> Result<bool, Infallible> {
        let covered =
            |entry: &Entry| heads.get(&entry.device).is_some_and(|head| entry.seq <= head.seq);
        Ok(self.0.iter().any(|entry| entry.on <= until && !covered(entry)))
    }

    fn has_twins(&mut self, until: Day) -> Result<bool, Infallible> {
        let (inside, outside): (Vec<&Entry>, Vec<&Entry>) =
            self.0.iter().partition(|entry| entry.on <= until);
        Ok(outside.iter().any(|entry| inside.iter().any(|other| other.id == entry.id)))
    }

    fn stands_until(&mut self, id: EntryId, until: Day) -> Result<bool, Infallible> {
        Ok(self.0.iter().any(|entry| entry.id == id && entry.on <= until))
    }

    fn after(&mut self, day: Day) -> Result<Vec<Entry>, Infallible> {
        Ok(self.0.iter().filter(|entry| entry.on > day).cloned().collect())
    }
}

/// A snapshot of a ledger after a day, as it comes back from where it was kept.
fn snapshot(entries: &[Entry], until: Day) -> Option<Snapshot> {
    let taken = Folding::from_nothing(entries).pause_after(until)?;
    Some(Snapshot::open(&taken.seal().unwrap()).unwrap())
}

fn resumed(snapshot: Snapshot, entries: &[Entry]) -> Option<Folding> {
    Folding::from_snapshot(snapshot, &mut Shelf(entries.to_vec())).unwrap()
}

fn any_ledger() -> impl Strategy<Value = Vec<Entry>> {
    prop_oneof![
        (any::<u64>(), 0_usize..90).prop_map(|(seed, entries)| wild(seed, entries)),
        (any::<u64>(), 0_usize..90).prop_map(|(seed, entries)| plausible(seed, entries)),
    ]
}

/// Every chain cut off at its end by up to so many entries: what one side holds of a ledger, or
/// what is left after the last entries were withdrawn.
fn cut(entries: &[Entry], dice: &mut Dice, most: u32) -> Vec<Entry> {
    let mut ends: BTreeMap<DeviceId, u64> = BTreeMap::new();
    for entry in entries {
        ends.entry(entry.device).and_modify(|end| *end = (*end).max(entry.seq.get())).or_insert(1);
    }
    for end in ends.values_mut() {
        *end = end.saturating_sub(u64::from(dice.below(most)));
    }
    entries.iter().filter(|entry| entry.seq.get() <= ends[&entry.device]).cloned().collect()
}

/// The last entries of one chain go on under a new device id, as after a fork.
fn moved(entries: &[Entry], dice: &mut Dice) -> Vec<Entry> {
    let Some(last) = dice.pick(entries).cloned() else { return Vec::new() };
    let is_moved = |entry: &&Entry| entry.device == last.device && entry.seq >= last.seq;
    let (mut rest, device) = (entries.to_vec(), DeviceId::new(dice.id()));
    rest.retain(|entry| !is_moved(&entry));
    let (mut seq, mut prev) = (Seq::FIRST, Hash::START);
    for entry in entries.iter().filter(is_moved) {
        let draft = Draft { id: entry.id, on: entry.on, body: entry.read_body().unwrap() };
        let sealed = Entry::seal(draft, entry.farm, device, seq, entry.at, prev).unwrap();
        (seq, prev) = (sealed.seq.next(), sealed.hash);
        rest.push(sealed);
    }
    rest
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 600, ..ProptestConfig::default() })]

    #[test]
    fn a_book_gone_on_from_a_snapshot_is_the_book_folded_from_nothing(
        entries in any_ledger(),
        seed in any::<u64>(),
        at in any::<prop::sample::Index>(),
        later in any::<prop::sample::Index>(),
    ) {
        prop_assume!(!entries.is_empty());
        let mut dice = Dice::new(seed);
        let then = cut(&entries, &mut dice, 6);
        let mut now = cut(&entries, &mut dice, 4);
        if dice.happens(20) {
            now = moved(&now, &mut dice);
        }
        let (until, day) = (entries[at.index(entries.len())].on, entries[later.index(entries.len())].on);
        let Some(taken) = snapshot(&then, until) else { return Ok(()) };
        if let Some(folding) = resumed(taken, &now) {
            prop_assert_eq!(folding.clone().finish().into_book(), fold(&now));
            if day > until {
                prop_assert_eq!(folding.into_book_until(day), fold_until(&now, day));
            }
        }
    }

    #[test]
    fn what_is_noted_next_is_taken_in_alone_or_refused(
        entries in any_ledger(),
        at in any::<prop::sample::Index>(),
    ) {
        let (before, next) = entries.split_at(at.index(entries.len() + 1));
        let mut folded = Folding::from_nothing(before).finish();
        for (entry, known) in next.iter().zip(before.len() + 1..) {
            if folded.push(entry).is_err() {
                folded = Folding::from_nothing(&entries[..known]).finish();
            }
            prop_assert_eq!(folded.book(), &fold(&entries[..known]));
        }
    }

    #[test]
    fn snapshots_taken_one_after_another_say_the_same(
        entries in any_ledger(),
        mut days in prop::collection::vec(any::<prop::sample::Index>(), 1..5),
    ) {
        prop_assume!(!entries.is_empty());
        days.sort_by_key(|day| day.index(entries.len()));
        let mut folding = Folding::from_nothing(&entries);
        for day in days {
            let until = entries[day.index(entries.len())].on;
            let Some(taken) = folding.pause_after(until) else { continue };
            let sealed = taken.seal().unwrap();
            let again = resumed(Snapshot::open(&sealed).unwrap(), &entries);
            // Nothing came or went, so it must fit.
            prop_assert_eq!(again.clone().unwrap().finish().into_book(), fold(&entries));
            folding = again.unwrap();
        }
    }
}

#[test]
fn most_snapshots_fit_a_plausible_ledger_that_grew() {
    let mut fitting = 0;
    for seed in 0..100 {
        let entries = plausible(seed, 120);
        let then = cut(&entries, &mut Dice::new(seed), 6);
        let until = then[then.len() / 2].on;
        fitting += usize::from(
            snapshot(&then, until).and_then(|taken| resumed(taken, &entries)).is_some(),
        );
    }
    assert!(fitting > 80, "{fitting} of 100");
}

#[test]
fn a_check_of_a_covered_day_that_comes_late_makes_a_snapshot_useless() {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-01", UnitKind::Division, 20);
    farm.note("2025-12-10", look(lot, Scope::Whole, 20, &[]));
    let then = farm.scribe.written.clone();
    farm.note("2025-11-15", look(lot, Scope::Sample, 5, &[]));
    let now = farm.scribe.written;
    let after = |until: &str| snapshot(&then, day(until)).unwrap();
    assert!(resumed(after("2025-12-01"), &now).is_none());
    let older = resumed(after("2025-11-01"), &now).unwrap();
    assert_eq!(older.finish().into_book(), fold(&now));
}

#[test]
fn a_covered_entry_that_is_struck_out_later_makes_a_snapshot_useless() {
    let mut farm = Farm::new(1);
    let lot = farm.opening("2025-11-01", UnitKind::Division, 20);
    let loss = farm.lose("2025-11-10", lot, 3, LossCause::Rot);
    let then = farm.scribe.written.clone();
    farm.note("2025-12-10", Void { entry: loss, why: None });
    let now = farm.scribe.written;
    assert!(resumed(snapshot(&then, day("2025-11-20")).unwrap(), &now).is_none());
    let with = snapshot(&now, day("2025-11-20")).unwrap();
    assert_eq!(
        resumed(with.clone(), &now).unwrap().finish().into_book().lots[&lot].in_store,
        n(20)
    );
    // The strike-out was withdrawn again.
    assert!(resumed(with, &then).is_none());
}

#[test]
fn a_snapshot_with_a_flipped_bit_is_no_snapshot() {
    let entries = plausible(5, 80);
    let sealed =
        Folding::from_nothing(&entries).pause_after(entries[60].on).unwrap().seal().unwrap();
    for at in 0..sealed.state.len() {
        let mut planted = sealed.clone();
        planted.state[at] ^= 1;
        assert!(Snapshot::open(&planted).is_err(), "byte {at}");
    }
    for at in 0..sealed.cover.len() {
        let mut planted = sealed.clone();
        planted.cover[at] ^= 1;
        assert!(Snapshot::open(&planted).is_err(), "byte {at} of the cover");
    }
    let other = Sealed { format: FORMAT + 1, ..sealed };
    assert_eq!(Snapshot::open(&other).unwrap_err(), SnapshotError::OtherForm);
}

/// Where this fails, either what a snapshot looks like or what the fold makes of entries has
/// changed: raise [`FORMAT`], then take the new sums over.
#[test]
fn another_form_or_another_rule_has_another_number() {
    let sums: Vec<String> = [plausible(11, 200), wild(12, 200)]
        .iter()
        .map(|entries| {
            let last = entries.iter().map(|entry| entry.on).max().unwrap();
            let sealed = Folding::from_nothing(entries).pause_after(last).unwrap().seal().unwrap();
            format!("{:02x?}", sealed.sum)
        })
        .collect();
    insta::assert_snapshot!(format!("format {FORMAT}\n{}", sums.join("\n")));
}

#[test]
fn snapshots_lie_ever_further_apart_into_the_past() {
    let entries = plausible(3, 3000);
    let mut folding = Folding::from_nothing(&entries);
    let mut covers = Vec::new();
    for until in folding.pauses() {
        covers.extend(folding.pause_after(until).map(|taken| taken.cover().clone()));
    }
    let behind: Vec<u64> =
        covers.iter().map(|cover| entries.len() as u64 - cover.entries).collect();
    assert_eq!(behind.len(), 3, "{behind:?}");
    assert!(behind.iter().zip([2048, 512, 128]).all(|(n, least)| *n >= least && *n < least + 60));
}

#[test]
fn of_snapshots_close_to_one_another_the_oldest_stays() {
    let d = |text: &str| day(text);
    let covers = [
        (d("2025-11-01"), 1000),
        (d("2025-12-01"), 5000),
        (d("2025-12-10"), 5100),
        (d("2025-12-20"), 9500),
        (d("2025-12-24"), 9700),
    ];
    assert_eq!(superseded(&covers, 10_000), [d("2025-12-10")]);
    assert_eq!(superseded(&[], 10), []);
}
