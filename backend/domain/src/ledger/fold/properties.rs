//! What holds for every ledger, whatever is written in it.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::collections::BTreeMap;

use proptest::prelude::*;

use super::{fold, fold_until};
use crate::ledger::body::{Body, Void};
use crate::ledger::book::{Book, Disagreement};
use crate::ledger::generate::{Dice, plausible, wild};
use crate::ledger::{Draft, Entry, Hash, Seq};
use crate::words::{DeviceId, EntryId};

fn any_ledger() -> impl Strategy<Value = Vec<Entry>> {
    prop_oneof![
        (any::<u64>(), 0_usize..120).prop_map(|(seed, entries)| wild(seed, entries)),
        (any::<u64>(), 0_usize..120).prop_map(|(seed, entries)| plausible(seed, entries)),
    ]
}

fn shuffled(entries: &[Entry], seed: u64) -> Vec<Entry> {
    let mut dice = Dice::new(seed);
    let mut mixed = entries.to_vec();
    for end in (1..mixed.len()).rev() {
        let bound = u32::try_from(end + 1).unwrap();
        mixed.swap(end, dice.below(bound) as usize);
    }
    mixed
}

fn assert_sums(book: &Book) {
    let mut in_store = BTreeMap::new();
    for lot in book.lots.values() {
        let seen: u32 = lot.last_seen.iter().map(|group| group.count.get()).sum();
        assert_eq!(seen, lot.in_store.get(), "units by day last seen, lot {}", lot.id.code());
        assert!(lot.last_seen.windows(2).all(|pair| pair[0].on < pair[1].on));
        assert!(lot.loss_rows.iter().all(|row| row.days >= 1 && row.lost <= row.inspected));
        *in_store.entry((lot.variety, lot.unit)).or_insert(0_i64) += i64::from(lot.in_store);
    }
    for (key, flow) in &book.flows {
        assert!(flow.agrees(), "{key:?}: {flow:?}");
        assert_eq!(flow.in_store, in_store.get(key).copied().unwrap_or(0));
    }
    assert!(in_store.keys().all(|key| book.flows.contains_key(key)));
}

/// A strike-out on a device of its own, so that no other chain changes.
fn strike(entries: &[Entry], target: EntryId) -> Entry {
    let mut dice = Dice::new(entries.len() as u64);
    let first = entries.first().unwrap();
    let draft = Draft {
        id: EntryId::new(dice.id()),
        on: first.on,
        body: Void { entry: target, why: None }.into(),
    };
    let device = DeviceId::new(dice.id());
    Entry::seal(draft, first.farm, device, Seq::FIRST, first.at, Hash::START).unwrap()
}

/// The book without what a strike-out and its problem may rightly change.
fn comparable(mut book: Book) -> Book {
    book.struck_out.clear();
    book
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    #[test]
    fn the_order_of_arrival_changes_nothing(entries in any_ledger(), seed in any::<u64>()) {
        prop_assert_eq!(fold(&entries), fold(&shuffled(&entries, seed)));
    }

    #[test]
    fn an_entry_that_arrives_twice_counts_once(entries in any_ledger(), seed in any::<u64>()) {
        let mut twice = entries.clone();
        twice.extend(shuffled(&entries, seed));
        prop_assert_eq!(fold(&entries), fold(&twice));
    }

    #[test]
    fn sums_agree_whatever_is_written(entries in any_ledger()) {
        assert_sums(&fold(&entries));
    }

    #[test]
    fn sums_agree_at_the_end_of_every_day(entries in any_ledger()) {
        for on in entries.iter().map(|entry| entry.on) {
            assert_sums(&fold_until(&entries, on));
        }
    }

    #[test]
    fn an_entry_struck_out_is_as_if_it_was_never_written(
        entries in any_ledger(),
        at in any::<prop::sample::Index>(),
    ) {
        prop_assume!(!entries.is_empty());
        let target = &entries[at.index(entries.len())];
        // A strike-out that names the target already would lose its hold together with it.
        let named = entries.iter().any(|entry| {
            match entry.read_body() {
                Ok(Body::Void(void)) => void.entry == target.id,
                // A closing that was confirmed refuses it.
                Ok(Body::ConfirmSeason(confirmed)) => confirmed.closing == target.id,
                _ => false,
            }
        });
        prop_assume!(!named && target.read_body().unwrap().may_be_struck_out());
        let mut struck = entries.clone();
        struck.push(strike(&entries, target.id));
        let without: Vec<Entry> =
            entries.iter().filter(|entry| entry.id != target.id).cloned().collect();
        let book = fold(&struck);
        prop_assert!(book.struck_out.contains(&target.id));
        prop_assert_eq!(comparable(book), comparable(fold(&without)));
    }

    #[test]
    fn what_was_undone_and_redone_is_as_it_was(
        entries in any_ledger(),
        at in any::<prop::sample::Index>(),
        times in 1_usize..5,
        seed in any::<u64>(),
    ) {
        prop_assume!(!entries.is_empty());
        let target = &entries[at.index(entries.len())];
        prop_assume!(!fold(&entries).struck_out.contains(&target.id));
        let mut struck = entries.clone();
        let mut next = target.id;
        for _ in 0..2 * times {
            let stroke = strike(&struck, next);
            next = stroke.id;
            struck.push(stroke);
        }
        let book = fold(&shuffled(&struck, seed));
        prop_assert_eq!(comparable(book), comparable(fold(&entries)));
    }

    #[test]
    fn a_strike_out_of_a_hand_over_changes_no_stock(entries in any_ledger()) {
        let bound = entries.iter().find(|entry| {
            !entry.read_body().unwrap().may_be_struck_out()
        });
        prop_assume!(bound.is_some());
        let mut struck = entries.clone();
        struck.push(strike(&entries, bound.unwrap().id));
        let (before, after) = (fold(&entries), fold(&struck));
        prop_assert_eq!(before.lots, after.lots);
        prop_assert_eq!(before.problems.len() + 1, after.problems.len());
        prop_assert!(after.problems.iter().any(|p| p.what == Disagreement::VoidOfNothing));
    }

    #[test]
    fn kinds_of_a_newer_version_are_kept_in_sight(entries in any_ledger()) {
        let book = fold(&entries);
        let newer = entries
            .iter()
            .filter(|entry| matches!(entry.read_body(), Ok(Body::Newer { .. })))
            .filter(|entry| !book.struck_out.contains(&entry.id))
            .count();
        prop_assert_eq!(book.newer.len(), newer);
    }
}

#[test]
fn a_plausible_winter_has_lots_looks_and_losses() {
    let book = fold(&plausible(7, 150));
    assert!(book.lots.len() > 5);
    assert!(book.lots.values().any(|lot| lot.looks.len() > 2));
    assert!(book.lots.values().any(|lot| lot.loss_rows.iter().any(|row| row.lost > 0)));
    assert_eq!(book.varieties.len(), 3);
}

#[test]
fn the_wild_ledgers_reach_every_disagreement() {
    let mut reached = std::collections::BTreeSet::new();
    for seed in 0..300 {
        for problem in fold(&wild(seed, 100)).problems {
            let text = format!("{:?}", problem.what);
            reached.insert(text.split([' ', '{']).next().unwrap().to_owned());
        }
    }
    for kind in [
        "TakenMoreThanThere",
        "CountDiffers",
        "UnknownLot",
        "UnknownVariety",
        "BeforeItBegan",
        "MadeTwice",
        "SumsDiffer",
        "VoidOfNothing",
        "CarriedDiffers",
        "LateForSeason",
        "SeasonClosedTwice",
        "ConfirmedNothing",
    ] {
        assert!(reached.contains(kind), "{kind} was never reached");
    }
}
