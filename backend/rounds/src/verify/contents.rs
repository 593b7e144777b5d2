//! The best that one farm can pass to another, for every value that the parcel may have.

use std::collections::BTreeMap;

/// An offer that may go to a want of the other farm, priced.
#[derive(Debug, Clone, Copy)]
pub(super) struct Priced {
    pub(super) offer: usize,
    pub(super) want: usize,
    /// From the smallest parcel to what offer and want allow.
    pub(super) least: i64,
    pub(super) most: i64,
    /// Tenths a unit.
    pub(super) value: i64,
    /// Thousandths of worth a unit, after all prices.
    pub(super) gain: i64,
}

/// No parcel has this value. Three more tables can't lift a sum above zero again.
pub(super) const NONE: i64 = i64::MIN / 8;

/// `best[v]`: the greatest gain of a parcel worth exactly `v` tenths. Counts of offers and wants that
/// several of `moves` share are kept; `best[0]` is the empty parcel.
pub(super) fn best_by_value(moves: &[Priced], counts: (&[i64], &[i64])) -> Vec<i64> {
    let mut best = vec![0];
    let mut left: Vec<Priced> = moves.to_vec();
    while let Some(first) = left.pop() {
        // Those that share an offer or a want, directly or through others, are decided together.
        let mut group = vec![first];
        while let Some(at) = left.iter().position(|it| {
            group.iter().any(|known| known.offer == it.offer || known.want == it.want)
        }) {
            group.push(left.swap_remove(at));
        }
        let together = if group.len() > 1 { shared(&mut group, counts) } else { None };
        if let Some(parcels) = together {
            best = joined(&best, &parcels.into_iter().filter(|it| it.0 > 0).collect::<Vec<_>>());
        } else {
            // Alone, or too many ways to follow: each for itself, which can only raise the bound.
            for it in group {
                let parcels: Vec<_> =
                    (it.least..=it.most).map(|q| (q * it.value, q * it.gain)).collect();
                best = joined(&best, &parcels);
            }
        }
    }
    best
}

/// Parcels of `best` with one of `others`, or none of them, added.
fn joined(best: &[i64], others: &[(i64, i64)]) -> Vec<i64> {
    let longest = others.iter().map(|&(value, _)| value).max().unwrap_or(0);
    let mut more = best.to_vec();
    more.resize(best.len() + place(longest), NONE);
    for &(value, gain) in others {
        for (sum, &so_far) in more[place(value)..].iter_mut().zip(best) {
            if so_far != NONE {
                *sum = (*sum).max(so_far + gain);
            }
        }
    }
    more
}

/// Most ways of a group that are followed.
const MOST_WAYS: usize = 4_000_000;

/// The greatest gain by value of a group whose moves share counts, unless it has too many ways.
fn shared(group: &mut [Priced], (offers, wants): (&[i64], &[i64])) -> Option<BTreeMap<i64, i64>> {
    group.sort_by_key(|it| (it.offer, it.want));
    // So much used of each offer and want that a later move still needs → gain by value.
    let mut states: BTreeMap<Vec<(usize, i64)>, BTreeMap<i64, i64>> =
        [(Vec::new(), [(0, 0)].into())].into();
    for (at, it) in group.iter().enumerate() {
        // Wants are told from offers by standing behind all of them.
        let keys = [it.offer, offers.len() + it.want];
        let room =
            |key: usize| offers.get(key).copied().unwrap_or_else(|| wants[key - offers.len()]);
        let later = |key: usize| {
            group[at + 1..].iter().any(|it| it.offer == key || offers.len() + it.want == key)
        };
        let mut next: BTreeMap<Vec<(usize, i64)>, BTreeMap<i64, i64>> = BTreeMap::new();
        for (used, gains) in &states {
            let spent = |key| used.iter().find(|(of, _)| *of == key).map_or(0, |(_, q)| *q);
            let most = keys.iter().map(|&key| room(key) - spent(key)).fold(it.most, i64::min);
            for q in std::iter::once(0).chain(it.least..=most) {
                let mut then: Vec<(usize, i64)> = used
                    .iter()
                    .copied()
                    .filter(|(key, _)| !keys.contains(key) && later(*key))
                    .collect();
                then.extend(
                    keys.iter().filter(|key| later(**key)).map(|&key| (key, spent(key) + q)),
                );
                then.sort_unstable();
                let into = next.entry(then).or_default();
                for (value, gain) in gains {
                    let sum = into.entry(value + q * it.value).or_insert(NONE);
                    *sum = (*sum).max(gain + q * it.gain);
                }
            }
        }
        states = next;
        if states.values().map(|gains| gains.len() * (place(it.most) + 1)).sum::<usize>()
            > MOST_WAYS
        {
            return None;
        }
    }
    let all = states.into_values().fold(BTreeMap::new(), |mut all, gains| {
        for (value, gain) in gains {
            let best = all.entry(value).or_insert(NONE);
            *best = (*best).max(gain);
        }
        all
    });
    Some(all)
}

/// A value as a place in a table: never below 0, and bounded by what `bound` lets a table hold.
pub(super) fn place(value: i64) -> usize {
    usize::try_from(value).unwrap_or(0)
}
