//! Which strike-outs hold, when a strike-out can itself be struck out.
//!
//! A strike-out holds if no strike-out that holds names it. Undo, redo, undo again make such
//! chains, and each is made after the one that it names, so the question always ends. Where
//! entries name one another in a circle (no device of ours writes that) the one made last holds,
//! so that the answer never hangs on the order of arrival. What may not enter: bodies, the book.

use std::collections::{BTreeMap, BTreeSet};

use crate::words::EntryId;

/// One strike-out.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stroke<'a, When> {
    /// The entry that strikes out.
    pub by: EntryId,
    /// The entry struck out.
    pub target: EntryId,
    /// When the striking entry was made.
    pub made: &'a When,
}

/// The entries that are struck out by strike-outs that hold.
pub(super) fn struck_out<When: Ord>(
    strokes: &[Stroke<'_, When>],
    strikable: &BTreeSet<EntryId>,
) -> BTreeSet<EntryId> {
    let mut of: BTreeMap<EntryId, Vec<EntryId>> = BTreeMap::new();
    let mut named: BTreeMap<EntryId, usize> = BTreeMap::new();
    let bears = |stroke: &&Stroke<'_, When>| {
        stroke.by != stroke.target && strikable.contains(&stroke.target)
    };
    for stroke in strokes.iter().filter(bears) {
        of.entry(stroke.by).or_default().push(stroke.target);
        *named.entry(stroke.target).or_default() += 1;
    }
    let mut latest: Vec<(&When, EntryId)> =
        strokes.iter().map(|stroke| (stroke.made, stroke.by)).collect();
    latest.sort_unstable();
    latest.dedup();

    let mut gone = BTreeSet::new();
    let mut holds = BTreeSet::new();
    let is_free = |named: &BTreeMap<EntryId, usize>, by: EntryId| {
        named.get(&by).is_none_or(|times| *times == 0)
    };
    let mut ready: Vec<EntryId> = of.keys().copied().filter(|by| is_free(&named, *by)).collect();
    loop {
        while let Some(by) = ready.pop() {
            if gone.contains(&by) || !holds.insert(by) {
                continue;
            }
            for target in of.get(&by).into_iter().flatten() {
                // In a circle it may come round to the one that holds because it was made last.
                if holds.contains(target) || !gone.insert(*target) {
                    continue;
                }
                // What it struck out is no longer named by it.
                for freed in of.get(target).into_iter().flatten() {
                    if let Some(times) = named.get_mut(freed) {
                        *times -= 1;
                    }
                    if is_free(&named, *freed) && of.contains_key(freed) {
                        ready.push(*freed);
                    }
                }
            }
        }
        // Only circles are left undecided.
        while latest.last().is_some_and(|(_, by)| gone.contains(by) || holds.contains(by)) {
            latest.pop();
        }
        match latest.pop() {
            Some((_, by)) if of.contains_key(&by) => ready.push(by),
            Some(_) => {}
            None => return gone,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::uuid_v7;
    use proptest::prelude::*;

    fn id(number: u8) -> EntryId {
        EntryId::new(uuid_v7(0, [number; 10]))
    }

    /// Strike-outs as (by, target), made in the order given, over entries 0 to 19.
    fn gone(named: &[(u8, u8)]) -> BTreeSet<EntryId> {
        let strokes: Vec<Stroke<'_, u8>> = named
            .iter()
            .map(|(by, target)| Stroke { by: id(*by), target: id(*target), made: by })
            .collect();
        struck_out(&strokes, &(0..20).map(id).collect())
    }

    fn ids(numbers: &[u8]) -> BTreeSet<EntryId> {
        numbers.iter().copied().map(id).collect()
    }

    #[test]
    fn undone_redone_and_undone_again_alternates() {
        assert_eq!(gone(&[(1, 0)]), ids(&[0]));
        assert_eq!(gone(&[(1, 0), (2, 1)]), ids(&[1]));
        assert_eq!(gone(&[(1, 0), (2, 1), (3, 2)]), ids(&[0, 2]));
        assert_eq!(gone(&[(1, 0), (2, 1), (3, 2), (4, 3)]), ids(&[1, 3]));
    }

    #[test]
    fn what_two_devices_struck_out_stays_out_until_both_are_struck_out() {
        assert_eq!(gone(&[(1, 0), (2, 0), (3, 1)]), ids(&[0, 1]));
        assert_eq!(gone(&[(1, 0), (2, 0), (3, 1), (4, 2)]), ids(&[1, 2]));
    }

    #[test]
    fn in_a_circle_the_one_made_last_holds() {
        assert_eq!(gone(&[(1, 2), (2, 1)]), ids(&[1]));
        assert_eq!(gone(&[(1, 1)]), ids(&[]));
        assert_eq!(gone(&[(1, 2), (2, 3), (3, 1)]), ids(&[1]));
    }

    proptest! {
        #[test]
        fn a_strike_out_made_after_what_it_names_holds_or_is_struck_out(
            named in prop::collection::vec((0_u8..20, 0_u8..20), 0..25),
        ) {
            let named: Vec<(u8, u8)> =
                named.into_iter().filter(|(by, target)| by > target).collect();
            let out = gone(&named);
            for entry in 0..20 {
                let holding = |(by, target): &&(u8, u8)| *target == entry && !out.contains(&id(*by));
                prop_assert_eq!(out.contains(&id(entry)), named.iter().any(|it| holding(&it)));
            }
        }

        #[test]
        fn the_order_in_which_strike_outs_are_read_says_nothing(
            named in prop::collection::vec((0_u8..20, 0_u8..20), 0..25),
            turn in any::<prop::sample::Index>(),
        ) {
            let out = gone(&named);
            let mut turned = named.clone();
            if !named.is_empty() {
                turned.rotate_left(turn.index(named.len()));
            }
            prop_assert_eq!(gone(&turned), out);
        }
    }
}
