//! What one farm can pass to another: the best gain for every value that the parcel may have.
//!
//! All parcels of a loop lie in one window of values [t, t + tolerance]. So two tables say all that a
//! loop needs to know of an arc: `exact[v]`, the greatest gain of a parcel worth just v tenths, and
//! `window[t]`, the greatest of `exact` from t to t + tolerance. What may not enter: loops.

use super::radix::Radix;
use crate::instance::{Instance, MoveKind};

/// What a table holds. Guides the search only: objectives are summed in whole numbers elsewhere.
pub(crate) type Gain = f32;

/// No parcel is like that.
pub(crate) const NONE: Gain = Gain::NEG_INFINITY;

/// Units left of every offer and want.
#[derive(Debug, Clone)]
pub(crate) struct Left {
    pub(crate) offers: Vec<i32>,
    pub(crate) wants: Vec<i32>,
}

impl Left {
    pub(crate) fn all(of: &Instance) -> Self {
        Self { offers: of.offer_count.clone(), wants: of.want_count.clone() }
    }

    /// Most units of a move.
    pub(crate) fn most(&self, kind: MoveKind) -> i32 {
        self.offers[kind.offer as usize].min(self.wants[kind.want as usize])
    }
}

/// One way to pass on units of a group: its last move and how it got there.
#[derive(Debug, Clone, Copy)]
struct Step {
    /// Used so far of what later moves share, in mixed radix, then the value: what tells ways apart.
    key: u64,
    gain: Gain,
    before: u32,
    count: i32,
}

/// Room to work in, kept from table to table.
#[derive(Debug, Default)]
pub(crate) struct Desk {
    /// `exact` after each group.
    stages: Vec<Vec<Gain>>,
    layers: Vec<Vec<Step>>,
    /// Where a group's layers begin and end, and the place value of the first shared count in its keys.
    spans: Vec<(usize, usize, u64)>,
    used_layers: usize,
    /// Where a key stands in the layer that is being made, if its stamp is the layer's.
    slots: Vec<(u32, u32)>,
    stamp: u32,
    /// How often ways were left out: tables are then no upper bounds.
    pub(crate) trimmed: u32,
}

/// Most ways that a move of a group may make.
const MOST_WAYS: usize = 1 << 20;
/// Most keys that are looked up in a table; beyond, they are sorted.
const MOST_SLOTS: u64 = 1 << 21;

impl Desk {
    /// Fills `exact` for `arc`; `gains` by move.
    pub(crate) fn exact(
        &mut self,
        of: &Instance,
        arc: u32,
        left: &Left,
        gains: &[Gain],
    ) -> &[Gain] {
        let groups = &of.arcs[arc as usize].groups;
        self.used_layers = 0;
        self.spans.clear();
        while self.stages.len() < groups.len() + 1 {
            self.stages.push(Vec::new());
        }
        self.stages[0].clear();
        self.stages[0].push(0.0);
        for (at, group) in groups.iter().enumerate() {
            if let [alone] = group[..] {
                self.spans.push((0, 0, 1));
                self.add_alone(of, at, alone, left, gains);
            } else {
                let begin = self.used_layers;
                let base = self.add_shared(of, group, left, gains);
                self.spans.push((begin, self.used_layers, base));
                self.join(at, base);
            }
        }
        &self.stages[groups.len()]
    }

    fn add_alone(&mut self, of: &Instance, at: usize, alone: u32, left: &Left, gains: &[Gain]) {
        let kind = of.moves[alone as usize];
        let most = left.most(kind);
        let (before, after) = pair(&mut self.stages, at);
        after.clear();
        after.extend_from_slice(before);
        if most < kind.least {
            return;
        }
        let gain = gains[alone as usize];
        after.resize(before.len() + index(most * kind.value), NONE);
        for count in kind.least..=most {
            let (by, plus) = (index(count * kind.value), gain * count as Gain);
            if let [only] = before[..] {
                after[by] = after[by].max(only + plus);
                continue;
            }
            for (sum, so_far) in after[by..].iter_mut().zip(before) {
                let new = so_far + plus;
                *sum = if new > *sum { new } else { *sum };
            }
        }
    }

    /// All ways of a group, move by move; ways that leave the same counts and have the same value are one.
    fn add_shared(&mut self, of: &Instance, group: &[u32], left: &Left, gains: &[Gain]) -> u64 {
        let radix = Radix::new(of, group, left);
        self.layer().push(Step { key: 0, gain: 0.0, before: 0, count: 0 });
        for (at, &move_number) in group.iter().enumerate() {
            let kind = of.moves[move_number as usize];
            let gain = gains[move_number as usize];
            let here = self.used_layers - 1;
            let mut next = std::mem::take(self.layer());
            self.trim(here, left.most(kind));
            let looked_up = radix.end <= MOST_SLOTS;
            if looked_up {
                self.fresh_slots(radix.end);
            }
            for (before, step) in self.layers[here].iter().enumerate() {
                let most = left.offers[kind.offer as usize] - radix.used(step.key, kind.offer, 0);
                let most =
                    most.min(left.wants[kind.want as usize] - radix.used(step.key, kind.want, 1));
                let (kept, per_unit) = radix.after(step.key, kind, at);
                let counts = std::iter::once(0).chain(kind.least..=most.max(kind.least - 1));
                for count in counts {
                    let key = kept + per_unit * u64::from(count.unsigned_abs());
                    let way = Step {
                        key,
                        gain: step.gain + gain * count as Gain,
                        before: before as u32,
                        count,
                    };
                    if !looked_up {
                        next.push(way);
                        continue;
                    }
                    let slot = &mut self.slots[key as usize];
                    if slot.0 != self.stamp {
                        *slot = (self.stamp, next.len() as u32);
                        next.push(way);
                    } else if next[slot.1 as usize].gain < way.gain {
                        next[slot.1 as usize] = way;
                    }
                }
            }
            if !looked_up {
                next.sort_unstable_by(|a, b| a.key.cmp(&b.key).then(b.gain.total_cmp(&a.gain)));
                next.dedup_by_key(|step| step.key);
            }
            let here = self.used_layers - 1;
            self.layers[here] = next;
        }
        radix.base
    }

    /// Keeps the best ways alone where all of them would take too long: what is left can still be
    /// passed on, though there may be better.
    fn trim(&mut self, layer: usize, counts: i32) {
        let most = (MOST_WAYS / (index(counts) + 2)).max(100);
        let ways = &mut self.layers[layer];
        if ways.len() > most {
            ways.select_nth_unstable_by(most, |one, other| {
                other.gain.total_cmp(&one.gain).then(one.key.cmp(&other.key))
            });
            ways.truncate(most);
            self.trimmed += 1;
        }
    }

    fn fresh_slots(&mut self, end: u64) {
        let end = end as usize + 1;
        if self.slots.len() < end {
            self.slots.resize(end, (0, 0));
        }
        self.stamp = self.stamp.wrapping_add(1);
        if self.stamp == 0 {
            self.slots.fill((0, 0));
            self.stamp = 1;
        }
    }

    fn layer(&mut self) -> &mut Vec<Step> {
        if self.layers.len() == self.used_layers {
            self.layers.push(Vec::new());
        }
        self.used_layers += 1;
        let layer = &mut self.layers[self.used_layers - 1];
        layer.clear();
        layer
    }

    fn join(&mut self, at: usize, base: u64) {
        let ways = &self.layers[self.used_layers - 1];
        let (before, after) = pair(&mut self.stages, at);
        let longest = ways.iter().map(|way| value_of(way.key, base)).max().unwrap_or(0);
        after.clear();
        after.resize(before.len() + longest, NONE);
        for way in ways {
            for (sum, so_far) in after[value_of(way.key, base)..].iter_mut().zip(before) {
                let new = so_far + way.gain;
                *sum = if new > *sum { new } else { *sum };
            }
        }
    }

    /// The moves of the best parcel worth just `value`; `exact` was filled for the same just before.
    pub(crate) fn moves(
        &self,
        of: &Instance,
        arc: u32,
        left: &Left,
        gains: &[Gain],
        value: usize,
    ) -> Vec<(u32, i32)> {
        let (mut value, mut moves) = (value, Vec::new());
        for (at, group) in of.arcs[arc as usize].groups.iter().enumerate().rev() {
            let before = &self.stages[at];
            let so_far = |by: usize| {
                value.checked_sub(by).and_then(|rest| before.get(rest)).copied().unwrap_or(NONE)
            };
            if let [alone] = group[..] {
                let kind = of.moves[alone as usize];
                let most = left.most(kind);
                let best = std::iter::once(0)
                    .chain(kind.least..=most)
                    .map(|count| {
                        let by = index(count * kind.value);
                        (count, so_far(by) + gains[alone as usize] * count as Gain)
                    })
                    .fold((0, NONE), |best, it| if it.1 > best.1 { it } else { best });
                if best.0 > 0 {
                    moves.push((alone, best.0));
                    value -= index(best.0 * kind.value);
                }
                continue;
            }
            let (begin, end, base) = self.spans[at];
            let (mut way, mut best) = (0, NONE);
            for (place, step) in self.layers[end - 1].iter().enumerate() {
                let sum = so_far(value_of(step.key, base)) + step.gain;
                if sum > best {
                    (way, best) = (place, sum);
                }
            }
            value -= value_of(self.layers[end - 1][way].key, base);
            for (layer, &move_number) in (begin + 1..end).zip(group).rev() {
                let step = self.layers[layer][way];
                if step.count > 0 {
                    moves.push((move_number, step.count));
                }
                way = step.before as usize;
            }
        }
        moves
    }
}

fn value_of(key: u64, base: u64) -> usize {
    (key % base) as usize
}

fn pair(stages: &mut [Vec<Gain>], at: usize) -> (&[Gain], &mut Vec<Gain>) {
    let (before, after) = stages.split_at_mut(at + 1);
    (&before[at], &mut after[0])
}

/// A value as a place in a table; values are never below 0.
pub(super) fn index(value: i32) -> usize {
    usize::try_from(value).unwrap_or(0)
}

/// `window` of an arc with one move alone, without `exact`: there are few places to fill.
pub(crate) fn windowed_alone(
    kind: MoveKind,
    most: i32,
    gain: Gain,
    tolerance: usize,
    window: &mut Vec<Gain>,
) {
    window.clear();
    if most < kind.least {
        window.push(NONE);
        return;
    }
    window.resize(index(most * kind.value) + 1, NONE);
    for count in kind.least..=most {
        let value = index(count * kind.value);
        let all = gain * count as Gain;
        for place in &mut window[value.saturating_sub(tolerance)..=value] {
            *place = if all > *place { all } else { *place };
        }
    }
}

/// Turns `exact` into `window`: the greatest from t to t + tolerance, the empty parcel left out. `spare` is
/// room to work in.
pub(crate) fn windowed(
    exact: &[Gain],
    tolerance: usize,
    window: &mut Vec<Gain>,
    spare: &mut Vec<Gain>,
) {
    window.clear();
    window.extend_from_slice(exact);
    window[0] = NONE;
    let mut covered = 1;
    while covered < tolerance + 1 {
        let step = covered.min(tolerance + 1 - covered);
        // From one list to another, so that the compiler can take several places at once.
        let inside = window.len().saturating_sub(step);
        spare.clear();
        let ahead = window.iter().zip(&window[window.len() - inside..]);
        spare.extend(ahead.map(|(&here, &ahead)| greater(here, ahead)));
        spare.extend_from_slice(&window[inside..]);
        std::mem::swap(window, spare);
        covered += step;
    }
}

/// The greatest of a table.
pub(crate) fn greatest(table: &[Gain]) -> Gain {
    let mut best = [NONE; LANES];
    let (whole, rest) = lanes(table);
    for lane in whole {
        for (best, &it) in best.iter_mut().zip(lane) {
            *best = greater(*best, it);
        }
    }
    rest.iter().copied().chain(best).fold(NONE, greater)
}

/// The greatest sum of the tables over all places that all of them have, and where.
pub(crate) fn best_place(windows: &[&[Gain]]) -> (usize, Gain) {
    let length = windows.iter().map(|it| it.len()).min().unwrap_or(0);
    let mut best = (0, NONE);
    for at in 0..length {
        let sum: Gain = windows.iter().map(|it| it[at]).sum();
        if sum > best.1 {
            best = (at, sum);
        }
    }
    best
}

/// The greatest sum of the tables over all places that all of them have.
pub(crate) fn best_sum(windows: &[&[Gain]]) -> Gain {
    match *windows {
        [one, other] => {
            let length = one.len().min(other.len());
            let (heads, tails) = (lanes(&one[..length]), lanes(&other[..length]));
            let mut best = [NONE; LANES];
            for (one, other) in heads.0.zip(tails.0) {
                for lane in 0..LANES {
                    best[lane] = greater(best[lane], one[lane] + other[lane]);
                }
            }
            let rest = heads.1.iter().zip(tails.1).map(|(one, other)| one + other);
            rest.chain(best).fold(NONE, greater)
        }
        [one, two, three] => {
            let length = one.len().min(two.len()).min(three.len());
            let (one, two, three) =
                (lanes(&one[..length]), lanes(&two[..length]), lanes(&three[..length]));
            let mut best = [NONE; LANES];
            for ((one, two), three) in one.0.zip(two.0).zip(three.0) {
                for lane in 0..LANES {
                    best[lane] = greater(best[lane], one[lane] + two[lane] + three[lane]);
                }
            }
            let rest =
                one.1.iter().zip(two.1).zip(three.1).map(|((one, two), three)| one + two + three);
            rest.chain(best).fold(NONE, greater)
        }
        _ => best_place(windows).1,
    }
}

/// Eight places at a time, so that the compiler can take several at once.
const LANES: usize = 8;

fn lanes(table: &[Gain]) -> (impl Iterator<Item = &[Gain; LANES]>, &[Gain]) {
    let (whole, rest) = table.as_chunks::<LANES>();
    (whole.iter(), rest)
}

fn greater(one: Gain, other: Gain) -> Gain {
    if one > other { one } else { other }
}
