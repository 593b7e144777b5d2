//! Units of one lot by the day they were last seen alive, and sharing whole units out among them.
//!
//! What may not enter: entries, flows, problems.

use std::collections::BTreeMap;

use crate::ledger::book::{LossRow, Lot, SeenUnits};
use crate::words::{Count, Day};

/// Whole units as plain numbers; a [`Count`] never passes 1,000,000, so this never saturates.
pub(super) fn count(units: u32) -> Count {
    Count::new(i64::from(units)).unwrap_or_default()
}

/// Shares `total` whole units out in proportion to `weights` by the method of largest remainders
/// (ties: the earlier), never more to one than its cap. What exceeds all caps is not given.
///
/// Where every weight with room left is 0, the room itself is the weight.
pub(super) fn apportion(total: u32, weights: &[u64], caps: &[u32]) -> Vec<u32> {
    let mut given = vec![0_u32; caps.len()];
    let room: u64 = caps.iter().map(|cap| u64::from(*cap)).sum();
    let mut left = u64::from(total).min(room);
    let mut open: Vec<usize> = (0..caps.len()).filter(|index| caps[*index] > 0).collect();
    while left > 0 && !open.is_empty() {
        let plain: u128 = open.iter().map(|index| u128::from(weights[*index])).sum();
        let weigh = |index: usize| {
            if plain == 0 { u128::from(caps[index]) } else { u128::from(weights[index]) }
        };
        let sum: u128 = open.iter().map(|index| weigh(*index)).sum();
        let full: Vec<usize> = open
            .iter()
            .copied()
            .filter(|index| u128::from(left) * weigh(*index) >= u128::from(caps[*index]) * sum)
            .collect();
        if full.is_empty() {
            share_by_largest_remainder(&mut given, left, &open, &weigh, sum);
            break;
        }
        for index in full {
            given[index] = u32::try_from(left).unwrap_or(u32::MAX).min(caps[index]);
            left -= u64::from(given[index]);
            open.retain(|other| *other != index);
        }
    }
    given
}

fn share_by_largest_remainder(
    given: &mut [u32],
    left: u64,
    open: &[usize],
    weigh: &dyn Fn(usize) -> u128,
    sum: u128,
) {
    let mut rest = left;
    let mut remainders: Vec<(u128, usize)> = Vec::with_capacity(open.len());
    for index in open {
        let quota = u128::from(left) * weigh(*index);
        // Below the cap, which is a u32, or this index would have been filled.
        let whole = u32::try_from(quota / sum).unwrap_or(u32::MAX);
        given[*index] = whole;
        rest -= u64::from(whole);
        remainders.push((quota % sum, *index));
    }
    remainders.sort_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(&b.1)));
    for (_, index) in remainders.into_iter().zip(0..rest).map(|(remainder, _)| remainder) {
        given[index] += 1;
    }
}

/// All units of the groups.
pub(super) fn total(groups: &[SeenUnits]) -> u32 {
    groups.iter().map(|group| group.count.get()).sum()
}

fn counts(groups: &[SeenUnits]) -> Vec<u32> {
    groups.iter().map(|group| group.count.get()).collect()
}

fn weights(counts: &[u32]) -> Vec<u64> {
    counts.iter().map(|count| u64::from(*count)).collect()
}

/// Puts groups of one day together, oldest first, and drops empty ones.
pub(super) fn tidy(groups: impl IntoIterator<Item = SeenUnits>) -> Vec<SeenUnits> {
    let mut by_day: BTreeMap<Day, Count> = BTreeMap::new();
    for group in groups.into_iter().filter(|group| !group.count.is_zero()) {
        let sum = by_day.entry(group.on).or_default();
        *sum = sum.plus(group.count);
    }
    by_day.into_iter().map(|(on, count)| SeenUnits { count, on }).collect()
}

/// Takes up to `units` out in proportion to the groups, and returns what was taken.
pub(super) fn take(groups: &mut Vec<SeenUnits>, units: u32) -> Vec<SeenUnits> {
    let caps = counts(groups);
    let shares = apportion(units, &weights(&caps), &caps);
    let taken =
        tidy(groups.iter().zip(&shares).map(|(g, n)| SeenUnits { count: count(*n), on: g.on }));
    *groups = tidy(
        groups.iter().zip(&shares).map(|(g, n)| SeenUnits { count: g.count.less(count(*n)), ..*g }),
    );
    taken
}

impl Lot {
    /// Its units by the day last seen alive, once `units` have left: they come unsorted, so they
    /// leave in proportion.
    pub fn last_seen_without(&self, units: Count) -> Vec<SeenUnits> {
        let mut groups = self.last_seen.clone();
        take(&mut groups, units.get());
        groups
    }
}

/// What one look found, already held within what was there: `decayed + otherwise <= looked`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Found {
    /// The day of the look.
    pub on: Day,
    /// Units looked at.
    pub looked: u32,
    /// Lost to decay among them.
    pub decayed: u32,
    /// Lost otherwise among them: alive as far as decay goes.
    pub otherwise: u32,
    /// Decay found before, outside a check, whose exposure ends with this look.
    pub unassigned: u32,
}

/// Days over which something came about: from `since` to `on`, and at least one.
///
/// A loss found on the day the units were last seen alive counts as found that same evening: the
/// hazard needs some time to have worked, and a day is the book's smallest.
pub(super) fn days_of_loss(since: Day, on: Day) -> u32 {
    days(since, on).max(1)
}

fn days(since: Day, on: Day) -> u32 {
    u32::try_from(on.days_since(since)).unwrap_or(0)
}

/// Moves what was looked at to the day of the look, takes out what was lost and returns one row a
/// group. Losses go to groups by units × days at risk; a row of no days and no loss says nothing
/// and is left out.
pub(super) fn look(groups: &mut Vec<SeenUnits>, found: &Found) -> Vec<LossRow> {
    let there = counts(groups);
    let looked = apportion(found.looked, &weights(&there), &there);
    let at_risk: Vec<u64> = groups
        .iter()
        .zip(&looked)
        .map(|(group, n)| u64::from(*n) * u64::from(days(group.on, found.on)))
        .collect();
    let decayed = apportion(found.decayed, &at_risk, &looked);
    let alive: Vec<u32> = looked.iter().zip(&decayed).map(|(n, d)| n - d).collect();
    let otherwise = apportion(found.otherwise, &weights(&alive), &alive);
    let earlier = apportion(found.unassigned, &at_risk, &vec![u32::MAX; there.len()]);

    let mut rows = Vec::new();
    let mut after = Vec::new();
    for (index, group) in groups.iter().enumerate() {
        let lost = decayed[index] + earlier[index];
        let inspected = looked[index] + earlier[index];
        let days = days(group.on, found.on);
        if lost > 0 || (days > 0 && inspected > 0) {
            let days = if lost > 0 { days.max(1) } else { days };
            rows.push(LossRow { days, inspected, lost });
        }
        let unseen = there[index] - looked[index];
        after.push(SeenUnits { count: count(unseen), on: group.on });
        let survivors = alive[index] - otherwise[index];
        after.push(SeenUnits { count: count(survivors), on: group.on.max(found.on) });
    }
    *groups = tidy(after);
    rows
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use proptest::prelude::*;

    fn day(text: &str) -> Day {
        text.parse().unwrap()
    }

    #[test]
    fn ten_units_are_shared_in_proportion_with_the_largest_remainders_first() {
        assert_eq!(apportion(10, &[3, 3, 1], &[99, 99, 99]), vec![4, 4, 2]);
        assert_eq!(apportion(1, &[1, 1], &[9, 9]), vec![1, 0]);
    }

    #[test]
    fn what_one_group_can_not_take_goes_to_the_others() {
        assert_eq!(apportion(10, &[100, 1, 1], &[2, 99, 99]), vec![2, 4, 4]);
        assert_eq!(apportion(5, &[7, 0], &[3, 9]), vec![3, 2]);
        assert_eq!(apportion(50, &[1, 1], &[3, 4]), vec![3, 4]);
    }

    #[test]
    fn losses_go_to_the_units_that_were_longest_unseen() {
        let mut groups = vec![
            SeenUnits { count: count(10), on: day("2025-11-01") },
            SeenUnits { count: count(10), on: day("2025-12-01") },
        ];
        let found =
            Found { on: day("2025-12-31"), looked: 20, decayed: 3, otherwise: 0, unassigned: 0 };
        let rows = look(&mut groups, &found);
        assert_eq!(
            rows,
            vec![
                LossRow { days: 60, inspected: 10, lost: 2 },
                LossRow { days: 30, inspected: 10, lost: 1 }
            ]
        );
        assert_eq!(groups, vec![SeenUnits { count: count(17), on: day("2025-12-31") }]);
    }

    #[test]
    fn a_loss_on_the_day_last_seen_counts_as_found_that_evening() {
        let mut groups = vec![SeenUnits { count: count(10), on: day("2025-11-01") }];
        let found =
            Found { on: day("2025-11-01"), looked: 10, decayed: 1, otherwise: 0, unassigned: 0 };
        assert_eq!(look(&mut groups, &found), vec![LossRow { days: 1, inspected: 10, lost: 1 }]);
    }

    proptest! {
        #[test]
        fn all_that_fits_is_given_and_no_cap_is_passed(
            total in 0_u32..5000,
            parts in prop::collection::vec((0_u64..1000, 0_u32..300), 0..12),
        ) {
            let weights: Vec<u64> = parts.iter().map(|part| part.0).collect();
            let caps: Vec<u32> = parts.iter().map(|part| part.1).collect();
            let given = apportion(total, &weights, &caps);
            prop_assert!(given.iter().zip(&caps).all(|(n, cap)| n <= cap));
            prop_assert_eq!(given.iter().sum::<u32>(), total.min(caps.iter().sum()));
        }
    }
}
